"""General-purpose readers of text beside ours on the same photos: plain tesseract and plain rapidocr.

Each runs in a process of its own at its defaults on the whole picture, as somebody would who reaches for it. It is
given more than it says: a true value counts as found if it stands anywhere among the words it read, whatever label or
unit it was given, so what is printed is the most that could be made of it.
"""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from multiprocessing import get_context
from multiprocessing.connection import Connection
from pathlib import Path

__all__ = ["PEERS", "found_among", "run_peer"]

Read = Callable[[Path], list[str]]


def _tesseract() -> Read:
    def read(path: Path) -> list[str]:
        done = subprocess.run(["tesseract", str(path), "-"], capture_output=True, text=True, check=True)
        return done.stdout.splitlines()

    return read


def _rapidocr() -> Read:
    from rapidocr import RapidOCR

    one = {"intra_op_num_threads": 1, "inter_op_num_threads": 1}
    engine = RapidOCR(
        params={"Global.log_level": "critical"} | {f"EngineConfig.onnxruntime.{key}": n for key, n in one.items()}
    )

    def read(path: Path) -> list[str]:
        return list(getattr(engine(str(path)), "txts", None) or ())

    return read


PEERS: dict[str, Callable[[], Read]] = {"tesseract": _tesseract, "rapidocr": _rapidocr}


def found_among(value: str, lines: Iterable[str]) -> bool:
    """Whether a value stands as a word, or before a unit without a space, in what was read."""
    pattern = re.compile(rf"(?<![\d.,-]){re.escape(value)}(?![\d]|[.,]\d)")
    return any(pattern.search(line.replace(",", ".").replace("–", "-").replace("−", "-")) for line in lines)


def _work(name: str, paths: list[Path], pipe: Connection) -> None:
    read = PEERS[name]()
    for path in paths:
        start = time.perf_counter()
        try:
            lines = read(path)
        except (OSError, subprocess.CalledProcessError) as error:
            print(f"{name}, {path.name}: {error}", file=sys.stderr)
            lines = []
        pipe.send((lines, time.perf_counter() - start))
    pipe.close()


def run_peer(name: str, paths: list[Path]) -> Iterable[tuple[list[str], float]]:
    """The lines that a peer reads in each picture, and the seconds it took."""
    context = get_context("spawn")
    here, there = context.Pipe(duplex=False)
    worker = context.Process(target=_work, args=(name, paths, there), daemon=True)
    worker.start()
    there.close()
    for _ in paths:
        yield here.recv()
    worker.join()
