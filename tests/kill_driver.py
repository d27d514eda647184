"""Runs the adding of evidence in processes of its own and kills them; ``tests/test_kill.py`` starts it.

    python tests/kill_driver.py FOLDER steps [EVERY]   kill before and after each durable step (each EVERY-th)
    python tests/kill_driver.py FOLDER moments COUNT   kill at random moments
    python tests/kill_driver.py FOLDER again COUNT     kill the same job again and again until it is through
    python tests/kill_driver.py FOLDER calls EVERY     kill at each EVERY-th system call that writes (needs strace)
    python tests/kill_driver.py FOLDER errors EVERY    fail each EVERY-th system call that writes (needs strace)
    python tests/kill_driver.py FOLDER together COUNT  kill nothing: three processes add to one job at once

After each kill the store must be sound and hold all that was reported; after one more run it must hold exactly what
an undisturbed run holds, entry for entry. Prints where it killed, one line a kill. The processes are forked from this
one, which has loaded everything and holds no database open.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from itertools import product
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from jobs import disk
from jobs.add import Event, Typed, add
from jobs.book import job_of, new_job
from jobs.journal import Row
from jobs.store import Store
from jobs.verify import faults
from schemas.errors import ExitCode, StoreFailed
from schemas.evidence import Utterance
from tests import jobs_doubles as doubles
from tests.jobs_doubles import NOON, Ears, photo, sound

SEED = 20260304
CALLS = ("write", "fsync", "rename", "mkdir", "ftruncate", "pwrite64", "fdatasync", "unlink")
"""What puts something on the disk; strace counts each by itself."""


def dawdle() -> None:
    """Take some time, as hearing does."""
    time.sleep(0.002)


TALK = [
    "1 high_fire co2 9.3 %",
    "4 high_fire o2 4.4 % ?heard unclearly",
    "9 change high_fire co2 9.4 %",
    "12 limit high_fire co2 8.5 9.5 %",
    "15 low_fire co2 8.7 %",
    "18 remove low_fire co2",
]
SLIP = ["high_fire co2 9.4 %", "high_fire o2 4.9 %"]
LINE = "low_fire o2 5.5 %"


class Scene:
    """The files to be added, a store as ``sayback new`` leaves it, and what comes of an undisturbed run."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.home = folder / "home"
        self.acks = folder / "acks"
        self.sheet = folder / "plain.toml"
        self.sheet.write_text(doubles.SHEET)
        self.files: list[Path | Typed] = [folder / "talk", folder / "slip", Typed(LINE)]
        (folder / "talk").write_bytes(sound(TALK, NOON))
        (folder / "slip").write_bytes(photo(SLIP, NOON))
        self.anew()
        shutil.copytree(self.home, folder / "fresh")
        begun = time.monotonic()
        assert self.fork(lambda: self.run(dawdle)) == 0
        self.seconds = time.monotonic() - begun
        self.expected = self.rows()

    def anew(self) -> None:
        """Put the store back to what it is before the first file."""
        shutil.rmtree(self.home, ignore_errors=True)
        self.acks.unlink(missing_ok=True)
        if (self.folder / "fresh").exists():
            shutil.copytree(self.folder / "fresh", self.home)
            return
        with Store(self.home, clock=doubles.ticking()) as store:
            new_job(store, sheet=str(self.sheet), site="Mill", technician="Ada", units="us", number="job-1")

    def run(self, wait: Callable[[], None] | None) -> None:
        """Add the files, noting what was reported as done."""
        acks = os.open(self.acks, os.O_WRONLY | os.O_CREAT | os.O_APPEND)

        def note(event: Event) -> None:
            done = ""
            if event.kind in ("kept", "there"):
                done = f"evidence/{event.sha256}\n"
            elif isinstance(event.found, Utterance):
                done = f"heard/{event.sha256}/{event.found.number}\n"
            elif event.kind == "looked":
                done = f"seen/{event.sha256}\n"
            with suppress(OSError):  # one that strace made fail: then nothing was reported
                os.write(acks, done.encode())

        ears = Ears(wait=wait) if wait else Ears()
        with Store(self.home, clock=doubles.ticking()) as store:
            add(store, "job-1", self.files, senses=ears.senses(), author="Ada", progress=note)

    def rows(self) -> list[tuple[str, str | None, str]]:
        """Return what the journal says, without times and hashes."""
        with Store(self.home) as store:
            return [(row.kind, row.key, row.body) for row in store.rows("job-1")[0] if row.kind != "job-opened"]

    def check_after_kill(self) -> None:
        """Raise AssertionError where something reported is not there, or the store is not sound."""
        acks = self.acks.read_text().split() if self.acks.exists() else []
        with Store(self.home) as store:
            assert not faults(store, "job-1"), faults(store, "job-1")
            rows: tuple[Row, ...] = store.rows("job-1")[0]
            lost = set(acks) - {row.key for row in rows}
            assert not lost, f"reported and lost: {lost}"

    def check_after_rerun(self) -> None:
        """Run once more, to the end; raise AssertionError where it is not as if nothing had happened."""
        self.run(None)
        with Store(self.home) as store:
            assert not faults(store, "job-1"), faults(store, "job-1")
        found = self.rows()
        assert found == self.expected, f"expected {self.expected}\nfound    {found}"
        assert not list((self.home / "evidence").glob("*.part")), "half-written copies were left"

    def fork(self, work: Callable[[], object], before: Callable[[int], None] = lambda pid: None) -> int:
        """Run ``work`` in a child and return its wait status; ``before`` is called with its id before it starts."""
        gate, opener = os.pipe()
        pid = os.fork()
        if pid == 0:
            status = 70
            try:
                os.read(gate, 1)
                work()
                status = 0
            except StoreFailed as error:
                status = error.exit_code
                say(f"  {error}")
            except BaseException as error:
                say(f"  {type(error).__name__}: {error}")
            finally:
                os._exit(status)
        before(pid)
        os.write(opener, b"x")
        os.close(opener)
        os.close(gate)
        return os.waitpid(pid, 0)[1]

    def recovered(self) -> bool:
        """Check and run again in a child of its own, and say whether all was well."""

        def both() -> None:
            self.check_after_kill()
            self.check_after_rerun()

        return self.fork(both) == 0


def say(text: str) -> None:
    """Print a line, as far as a process whose writing is made to fail can."""
    with suppress(OSError):
        print(text, flush=True)


def count_steps(act: Callable[[int, str], None]) -> None:
    """Call ``act`` with number and name before and after each step that puts something on the disk."""
    number = 0

    def step(name: str) -> None:
        nonlocal number
        number += 1
        act(number, name)

    def around(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def wrapped(*given: Any, **named: Any) -> Any:
            step(f"before {name}")
            result = real(*given, **named)
            step(f"after {name}")
            return result

        return wrapped

    whole = disk.write

    def halves(descriptor: int, data: bytes) -> None:
        step("before write")
        whole(descriptor, data[: len(data) // 2])
        step("in the middle of write")
        whole(descriptor, data[len(data) // 2 :])
        step("after write")

    disk.write = halves
    for name in ("fsync", "fsync_folder", "rename"):
        setattr(disk, name, around(name, getattr(disk, name)))
    Store.append = around("append", Store.append)  # type: ignore[method-assign] # the double counts

    @sa.event.listens_for(sa.Engine, "before_cursor_execute")
    def _before(connection: Any, cursor: Any, statement: str, *rest: Any) -> None:
        if statement.startswith(("INSERT", "UPDATE")):
            step(f"before {' '.join(statement.split()[:3])}")

    @sa.event.listens_for(sa.Engine, "commit")
    def _commit(connection: sa.Connection) -> None:
        if connection.get_execution_options().get("sayback_write"):
            step("before commit")


def killer(at: int, where: Path) -> Callable[[int, str], None]:
    """Return what kills its own process at step ``at`` and leaves the step's name in ``where``."""

    def act(number: int, name: str) -> None:
        if number == at:
            where.write_text(name)
            os.kill(os.getpid(), signal.SIGKILL)

    return act


def by_steps(scene: Scene, every: int) -> int:
    killed, at, where = 0, 1, scene.folder / "where"
    while True:
        scene.anew()

        def work(at: int = at) -> None:
            count_steps(killer(at, where))
            scene.run(None)

        status = scene.fork(work)
        if status == 0:
            return killed
        killed += tell(scene, status, f"step {at}: {where.read_text()}")
        at += every


def by_moments(scene: Scene, count: int) -> int:
    dice = random.Random(SEED)
    killed = 0
    while killed < count:
        scene.anew()
        after = dice.uniform(0.0, scene.seconds)

        def shoot(pid: int, after: float = after) -> None:
            if os.fork() == 0:
                time.sleep(after)
                os.kill(pid, signal.SIGKILL)
                os._exit(0)

        status = scene.fork(lambda: scene.run(dawdle), shoot)
        os.wait()  # for the one that shot
        if status != 0:
            acks = len(scene.acks.read_text().split()) if scene.acks.exists() else 0
            killed += tell(scene, status, f"{after * 1000:.1f} ms, {acks} things reported")
    return killed


def again_and_again(scene: Scene, count: int) -> int:
    """Kill run after run of one job, each a little further on, and start over with the next job when it is through."""
    dice = random.Random(SEED)
    killed, where = 0, scene.folder / "where"
    scene.anew()
    while killed < count:
        at = dice.randint(2, 40)

        def work(at: int = at) -> None:
            count_steps(killer(at, where))
            scene.run(None)

        status = scene.fork(work)
        if status == 0:
            assert scene.recovered()
            scene.anew()
            continue
        assert os.WTERMSIG(status) == signal.SIGKILL
        assert scene.fork(scene.check_after_kill) == 0, f"after {where.read_text()}"
        killed += 1
        print(f"killed at step {at} of this run: {where.read_text()}", flush=True)
    assert scene.recovered()
    return killed


def by_calls(scene: Scene, every: int) -> int:
    killed = 0
    for call in CALLS:
        at = 1
        while True:
            scene.anew()
            status, last = traced(scene, call, f"signal=SIGKILL:when={at}")
            if status == 0:
                break
            killed += tell(scene, status, f"{call} {at}: {last}")
            at += every
    return killed


def by_errors(scene: Scene, every: int) -> int:
    """Let system calls fail: the n-th only, then all from the n-th on, of a bad disk and of a full one."""
    failed = 0
    for call, (error, when) in product(CALLS, (("EIO", "{}"), ("EIO", "{}+"), ("ENOSPC", "{}+"))):
        at = 1
        while True:
            scene.anew()
            inject = f"error={error}:when={when.format(at)}"
            status, last = traced(scene, call, inject)
            where = f"{call} {inject}: {last}"
            # Told in one sentence (exit code 4), or survived: a failed clean-up after the work is nobody's loss.
            assert os.WIFEXITED(status), f"killed by signal {status} at {where}"
            assert os.waitstatus_to_exitcode(status) in (0, ExitCode.STORE_FAILED), where
            assert scene.recovered(), f"not recovered after {where}"
            if "INJECTED" not in (scene.folder / "trace").read_text():
                break
            failed += 1
            print(f"failed at {where}", flush=True)
            at += every
    return failed


def together(scene: Scene, count: int) -> int:
    """Let three processes add the same and other files to one job at once: all succeed, and nothing is doubled."""

    def readings() -> list[tuple[str, str]]:
        with Store(scene.home) as store:
            return [(row.reading.value, row.how) for row in job_of(store, "job-1").rows.values()]

    assert scene.recovered()
    expected = readings()
    whole = scene.files
    for _ in range(count):
        scene.anew()
        children = []
        for files in (whole, whole[1:], whole[:1]):
            scene.files = files
            pid = os.fork()
            if pid == 0:
                status = 70
                try:
                    scene.run(dawdle)
                    status = 0
                except BaseException as error:
                    say(f"  {type(error).__name__}: {error}")
                finally:
                    os._exit(status)
            children.append(pid)
        scene.files = whole
        assert [os.waitpid(pid, 0)[1] for pid in children] == [0, 0, 0]
        assert scene.fork(scene.check_after_kill) == 0
        assert readings() == expected
    return count


def traced(scene: Scene, call: str, inject: str) -> tuple[int, str]:
    """Run under strace with a fault injected into a system call; return the wait status and the call that it hit."""
    out = scene.folder / "trace"
    tracer: list[subprocess.Popen[bytes]] = []

    def trace(pid: int) -> None:
        command = ["strace", "-qq", "-o", str(out), "-p", str(pid), "-e", f"trace={call}"]
        tracer.append(subprocess.Popen([*command, "-e", f"inject={call}:{inject}"]))
        while "TracerPid:\t0" in Path(f"/proc/{pid}/status").read_text():
            assert tracer[0].poll() is None, "strace could not attach"
            time.sleep(0.002)

    status = scene.fork(lambda: scene.run(None), trace)
    tracer[0].wait()
    calls = [line for line in out.read_text().splitlines() if "(" in line]
    hit = [line for line in calls if "INJECTED" in line] or calls
    return status, hit[-1][:60] if hit else "?"


def tell(scene: Scene, status: int, where: str) -> int:
    assert os.WIFSIGNALED(status), f"not killed at {where}: it ended with {os.waitstatus_to_exitcode(status)}"
    assert os.WTERMSIG(status) == signal.SIGKILL
    assert scene.recovered(), f"not recovered after the kill at {where}"
    print(f"killed at {where}", flush=True)
    return 1


def main() -> None:
    doubles.install()
    folder, way, number = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
    ways = {
        "steps": by_steps,
        "moments": by_moments,
        "again": again_and_again,
        "calls": by_calls,
        "errors": by_errors,
        "together": together,
    }
    folder.mkdir(parents=True)
    print(f"{ways[way](Scene(folder), number)} times", flush=True)


if __name__ == "__main__":
    main()
