"""Train the display reader: one command from nothing to ONNX and card.

    python3 -m training.train_reader --out FOLDER [--digits digits.npz] [--count 400000] [--minutes 4.5] [--seed 1]

Makes the crops (training/make_crops.py) unless --crops names a folder that holds them, trains, measures on crops that
were kept apart, and writes reader.onnx, reader.json (the card) and reader.pt. On a machine with a GPU it is used.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import math
import os
import platform
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np
import torch
from torch.nn import functional

from training.make_crops import ALPHABET, CHUNK, MAX_WIDTH, MORE_FONTS, SHARES, fonts, make_crops
from training.reader_net import PLAN, ReaderNet, to_onnx

STEP = 4
"""pixels of width to one step of the output"""
BUCKETS = (64, 96, 128, 160, 192, 256, 320, MAX_WIDTH)
ROOM = 1.25
"""how much wider augmentation may make a line"""


class Crops:
    """All crops on one device, by width: uint8, the last column repeated to the right."""

    def __init__(self, files: list[Path], device: torch.device) -> None:
        images: dict[int, list[np.ndarray]] = {bucket: [] for bucket in BUCKETS}
        self.widths: dict[int, list[int]] = {bucket: [] for bucket in BUCKETS}
        self.texts: dict[int, list[str]] = {bucket: [] for bucket in BUCKETS}
        for file in sorted(files):
            with np.load(file) as stored:
                pixels, widths, texts = stored["pixels"], stored["widths"], stored["texts"]
            at = 0
            for width, text in zip(widths.tolist(), texts.tolist(), strict=True):
                columns = pixels[at : at + 32 * width].reshape(width, 32)
                at += 32 * width
                bucket = next(b for b in BUCKETS if b >= width)
                images[bucket].append(np.pad(columns, ((0, bucket - width), (0, 0)), mode="edge").T)
                self.widths[bucket].append(width)
                self.texts[bucket].append(text)
        self.images = {b: torch.from_numpy(np.stack(i)).to(device) for b, i in images.items() if i}
        self.buckets = [b for b in BUCKETS if images[b]]
        self.device = device

    def __len__(self) -> int:
        return sum(len(texts) for texts in self.texts.values())

    def batch(self, bucket: int, chosen: np.ndarray) -> tuple[torch.Tensor, torch.Tensor, list[str]]:
        """Pixels in 0..1 (lines x 1 x 32 x bucket), true widths, texts."""
        at = torch.from_numpy(chosen).to(self.device)
        pixels = self.images[bucket][at].float().unsqueeze(1) / 255
        widths = torch.tensor([self.widths[bucket][i] for i in chosen], device=self.device)
        return pixels, widths, [self.texts[bucket][i] for i in chosen]


def codes_of(texts: list[str]) -> tuple[torch.Tensor, torch.Tensor]:
    """Texts as CTC targets: all codes in a row, and the length of each."""
    flat = [ALPHABET.index(char) + 1 for text in texts for char in text]
    return torch.tensor(flat, dtype=torch.long), torch.tensor([len(text) for text in texts], dtype=torch.long)


def standard(pixels: torch.Tensor, widths: torch.Tensor) -> torch.Tensor:
    """Each line to mean 0 and deviation 1 over its true width; nothing (0) behind it."""
    inside = (torch.arange(pixels.shape[3], device=pixels.device)[None, :] < widths[:, None])[:, None, None, :]
    count = (widths * 32).float()[:, None, None, None]
    mean = (pixels * inside).sum(dim=(2, 3), keepdim=True) / count
    centred = (pixels - mean) * inside
    deviation = torch.sqrt((centred**2).sum(dim=(2, 3), keepdim=True) / count)
    return centred / (deviation + 0.01)


def augmented(pixels: torch.Tensor, widths: torch.Tensor, chance: torch.Generator) -> tuple[torch.Tensor, torch.Tensor]:
    """Stretch, lean, shift, invert, bend the tones, blur, add noise: on the device, a new form each time."""
    lines, _, height, width = pixels.shape
    device = pixels.device

    def drawn(low: float, high: float) -> torch.Tensor:
        return low + (high - low) * torch.rand(lines, generator=chance, device=device)

    across = drawn(0.8, ROOM)
    goal = torch.clamp((widths * across).round(), min=8)
    out = math.ceil(width * ROOM / STEP) * STEP
    xs = torch.arange(out, device=device).float()[None, None, :].expand(lines, height, out)
    ys = torch.arange(height, device=device).float()[None, :, None].expand(lines, height, out)
    lean, tall, rise = drawn(-0.12, 0.12), drawn(0.88, 1.15), drawn(-1.5, 1.5)
    from_x = (xs + 0.5) / across[:, None, None] - 0.5 + lean[:, None, None] * (ys - height / 2)
    from_x = torch.minimum(torch.clamp(from_x, min=0), (widths - 1).float()[:, None, None])
    from_y = (ys - height / 2) * tall[:, None, None] + height / 2 + rise[:, None, None]
    grid = torch.stack([(2 * from_x + 1) / width - 1, (2 * from_y + 1) / height - 1], dim=3)
    moved = functional.grid_sample(pixels, grid, padding_mode="border", align_corners=False)

    bend = torch.exp(drawn(-0.5, 0.5))[:, None, None, None]
    moved = moved.clamp(1e-4, 1) ** bend
    flip = (drawn(0, 1) < 0.25)[:, None, None, None]
    moved = torch.where(flip, 1 - moved, moved)
    soft = functional.avg_pool2d(functional.pad(moved, (1, 1, 1, 1), mode="replicate"), 3, stride=1)
    share = torch.clamp(drawn(-0.6, 1.0), min=0)[:, None, None, None]
    moved = moved + share * (soft - moved)
    spread = (moved.amax(dim=(2, 3), keepdim=True) - moved.amin(dim=(2, 3), keepdim=True)).clamp(min=0.02)
    noise = torch.randn(moved.shape, generator=chance, device=device)
    moved = moved + noise * spread * torch.clamp(drawn(-0.08, 0.12), min=0)[:, None, None, None]
    return moved, goal.long()


def greedy(scores: torch.Tensor, steps: torch.Tensor) -> list[str]:
    """The likeliest code of every step, repeats and blanks taken out."""
    best = scores.argmax(dim=1).cpu().numpy()
    texts = []
    for line, count in zip(best, steps.cpu().tolist(), strict=True):
        kept = [code for at, code in enumerate(line[:count]) if code and (at == 0 or line[at - 1] != code)]
        texts.append("".join(ALPHABET[code - 1] for code in kept))
    return texts


def measure(net: ReaderNet, crops: Crops) -> dict[str, float]:
    """Share of lines read exactly, of all and by what they hold, and the share of digits' points right."""
    net.eval()
    right: Counter[str] = Counter()
    total: Counter[str] = Counter()
    with torch.no_grad():
        for bucket in crops.buckets:
            for start in range(0, len(crops.texts[bucket]), 512):
                chosen = np.arange(start, min(start + 512, len(crops.texts[bucket])))
                pixels, widths, texts = crops.batch(bucket, chosen)
                scores = net(standard(pixels, widths))
                for said, text in zip(greedy(scores, (widths + STEP - 1) // STEP), texts, strict=True):
                    groups = ["all"]
                    groups.append("nothing" if not text else "with other words" if "#" in text else "number alone")
                    if "." in text and "#" not in text:
                        groups.append("with a point")
                    for group in groups:
                        total[group] += 1
                        right[group] += said == text
    return {group: round(right[group] / total[group], 4) for group in sorted(total)}


def train(net: ReaderNet, crops: Crops, minutes: float, steps: int, seed: int, size: int, peak: float) -> int:
    """Train for so many minutes or steps, whichever ends first; returns the steps done. ``peak``: of the rate."""
    device = crops.device
    pick = np.random.default_rng(seed)
    chance = torch.Generator(device=device).manual_seed(seed)
    best = torch.optim.AdamW(net.parameters(), lr=1e-3, weight_decay=0.01)
    weights = np.array([len(crops.texts[b]) for b in crops.buckets], float)
    start, done = time.monotonic(), 0
    fast = device.type == "cuda"
    net.train()
    while True:
        share = max((time.monotonic() - start) / (60 * minutes), done / steps)
        if share >= 1:
            return done
        rate = peak * min(1.0, done / 300) * 0.5 * (1 + math.cos(math.pi * share)) + 1e-6
        for group in best.param_groups:
            group["lr"] = rate
        bucket = crops.buckets[int(pick.choice(len(weights), p=weights / weights.sum()))]
        pixels, widths, texts = crops.batch(bucket, pick.integers(0, len(crops.texts[bucket]), size))
        pixels, widths = augmented(pixels, widths, chance)
        with torch.autocast(device.type, dtype=torch.bfloat16, enabled=fast):
            scores = net(standard(pixels, widths))
        table = functional.log_softmax(scores.float(), dim=1).permute(2, 0, 1)
        codes, lengths = codes_of(texts)
        loss = functional.ctc_loss(
            table, codes.to(device), (widths + STEP - 1) // STEP, lengths.to(device), zero_infinity=True
        )
        best.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        best.step()
        done += 1
        if done % 500 == 0:
            print(f"step {done}, {100 * share:.0f} %, loss {loss.item():.4f}", flush=True)


def _round_before(weights: Path) -> dict[str, object]:
    """The hash of an earlier round's weights, and its crops and recipe if its card lies beside them."""
    found: dict[str, object] = {"reader.pt sha256": hashlib.sha256(weights.read_bytes()).hexdigest()}
    card = weights.with_name("reader.json")
    if card.exists():
        told = json.loads(card.read_text(encoding="utf-8"))
        found |= {"crops": told["data"]["crops"], "recipe": told["recipe"]}
    return found


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--digits", type=Path)
    parser.add_argument("--crops", type=Path, help="a folder of crops that are made already")
    parser.add_argument("--count", type=int, default=400_000)
    parser.add_argument("--render-seconds", type=float, default=200.0, help="no new chunk is begun after this")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--minutes", type=float, default=4.5)
    parser.add_argument("--steps", type=int, default=10**9)
    parser.add_argument("--batch", type=int, default=768)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=Path, help="go on from the weights of an earlier round (its reader.pt)")
    chosen = parser.parse_args()
    chosen.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(chosen.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")

    began = time.monotonic()
    if chosen.crops:
        files = sorted(chosen.crops.glob("crops-*.npz"))
    else:
        folder = Path(tempfile.mkdtemp(prefix="crops-"))
        made = make_crops(folder, chosen.count, chosen.seed, chosen.workers, chosen.digits, chosen.render_seconds)
        files = sorted(made)
    rendered = time.monotonic() - began
    print(f"{len(files) * CHUNK} crops in {rendered:.0f} s", flush=True)
    apart = max(1, len(files) // 50)
    held, kept = files[:apart], files[apart:] or files
    crops = Crops(kept, device)
    net = ReaderNet().to(device)
    if chosen.start:
        net.load_state_dict(torch.load(chosen.start, map_location=device, weights_only=True))
    began = time.monotonic()
    peak = 1.5e-3 if chosen.start else 3e-3
    steps = train(net, crops, chosen.minutes, chosen.steps, chosen.seed, chosen.batch, peak)
    trained = time.monotonic() - began
    figures = measure(net, Crops(held, device))
    print(figures, flush=True)

    net = net.to("cpu").eval()
    model = to_onnx(net, {"seed": str(chosen.seed)})
    (chosen.out / "reader.onnx").write_bytes(model)
    torch.save(net.state_dict(), chosen.out / "reader.pt")
    card = {
        "what": "reads one grey line of a display: digits, point, minus, # for what is no number",
        "sha256": hashlib.sha256(model).hexdigest(),
        "bytes": len(model),
        "parameters": sum(p.numel() for p in net.parameters()),
        "alphabet": ALPHABET,
        "plan": [list(step) for step in PLAN],
        "data": {
            "crops": len(files) * CHUNK,
            "shares": SHARES if chosen.digits else {k: v for k, v in SHARES.items() if k != "real"},
            "rendered by": "training/render and training/make_crops.py",
            "real digits sha256": hashlib.sha256(chosen.digits.read_bytes()).hexdigest() if chosen.digits else "",
            "real digits": "7segment-display-reader by Kazuhito00, Apache-2.0, resized" if chosen.digits else "none",
            "fonts": list(fonts()),
            "fonts asked for beside the renderer's": list(MORE_FONTS),
            "kept apart to measure": len(held) * CHUNK,
        },
        "recipe": {
            "command": "python3 -m training.train_reader",
            "seed": chosen.seed,
            "begun from": _round_before(chosen.start) if chosen.start else {},
            "steps": steps,
            "lines a step": chosen.batch,
            "minutes of rendering": round(rendered / 60, 2),
            "minutes of training": round(trained / 60, 2),
            "device": torch.cuda.get_device_name(0) if device.type == "cuda" else platform.processor() or "cpu",
            "torch": torch.__version__,
        },
        "lines read exactly, of those kept apart": figures,
    }
    (chosen.out / "reader.json").write_text(json.dumps(card, indent=1) + "\n", encoding="utf-8")
    print(f"reader.onnx {len(model)} bytes {card['sha256']}", flush=True)


if __name__ == "__main__":
    main()
