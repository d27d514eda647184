"""The display reader's network, once as data: the PyTorch module and the ONNX graph are both built from `PLAN`.

In: lines x 1 x 32 x width (a multiple of 4), each brought to mean 0 and deviation 1. Out: lines x codes x width / 4,
scores before the softmax; code 0 is the blank of CTC, the rest is `ALPHABET`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import torch
from torch import nn

from training.make_crops import ALPHABET

CODES = len(ALPHABET) + 1

# conv: channels out, kernel (rows, columns); "res" is two convolutions around a shortcut; pool: (rows, columns).
PLAN: tuple[tuple[Any, ...], ...] = (
    ("conv", 32, (3, 3)),
    ("conv", 32, (3, 3)),
    ("pool", (2, 2)),
    ("conv", 64, (3, 3)),
    ("res", 64, (3, 3)),
    ("pool", (2, 2)),
    ("conv", 80, (3, 3)),
    ("res", 80, (3, 3)),
    ("pool", (2, 1)),
    ("conv", 96, (3, 3)),
    ("res", 96, (3, 3)),
    ("fall", 112, (4, 1)),  # the four rows that are left become one
    ("res", 112, (1, 5)),
)


class Unit(nn.Module):
    """Convolution, batch norm, and a rectifier where it is asked for."""

    def __init__(
        self, inside: int, outside: int, kernel: tuple[int, int], fall: bool = False, bend: bool = True
    ) -> None:
        super().__init__()
        pad = (0, 0) if fall else (kernel[0] // 2, kernel[1] // 2)
        self.conv = nn.Conv2d(inside, outside, kernel, padding=pad, bias=False)
        self.norm = nn.BatchNorm2d(outside)
        self.bend = bend

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        x = self.norm(self.conv(x))
        return torch.relu(x) if self.bend else x

    def fused(self) -> tuple[np.ndarray, np.ndarray]:
        """Kernel and bias with the batch norm worked in, float32."""
        share = self.norm.weight / torch.sqrt(self.norm.running_var + self.norm.eps)
        kernel = self.conv.weight * share[:, None, None, None]
        bias = self.norm.bias - self.norm.running_mean * share
        return kernel.detach().cpu().double().float().numpy(), bias.detach().cpu().float().numpy()


class Pair(nn.Module):
    """Two convolutions around a shortcut."""

    def __init__(self, channels: int, kernel: tuple[int, int]) -> None:
        super().__init__()
        self.first = Unit(channels, channels, kernel)
        self.second = Unit(channels, channels, kernel, bend=False)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return torch.relu(x + self.second(self.first(x)))


class ReaderNet(nn.Module):
    """The network of `PLAN` with its head."""

    def __init__(self, drop: float = 0.1) -> None:
        super().__init__()
        parts: list[nn.Module] = []
        channels = 1
        for step in PLAN:
            if step[0] == "pool":
                parts.append(nn.MaxPool2d(step[1]))
                continue
            kind, outside, kernel = step
            parts.append(Pair(channels, kernel) if kind == "res" else Unit(channels, outside, kernel, kind == "fall"))
            channels = outside
        self.body = nn.Sequential(*parts)
        self.drop = nn.Dropout(drop)
        self.head = nn.Conv2d(channels, CODES, 1)

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        return self.head(self.drop(self.body(x))).squeeze(2)


def to_onnx(net: ReaderNet, notes: dict[str, str]) -> bytes:
    """The network as an ONNX model, batch norm worked into the kernels; `notes` become its metadata."""
    import onnx
    from onnx import TensorProto, helper, numpy_helper

    nodes, weights = [], []
    count = 0

    def tensor(array: np.ndarray, name: str) -> str:
        weights.append(numpy_helper.from_array(np.ascontiguousarray(array, np.float32), name))
        return name

    def conv(x: str, kernel: np.ndarray, bias: np.ndarray, pads: list[int], bend: bool) -> str:
        nonlocal count
        count += 1
        names = [x, tensor(kernel, f"kernel{count}"), tensor(bias, f"bias{count}")]
        nodes.append(helper.make_node("Conv", names, [f"conv{count}"], pads=pads, kernel_shape=list(kernel.shape[2:])))
        if bend:
            nodes.append(helper.make_node("Relu", [f"conv{count}"], [f"relu{count}"]))
        return f"relu{count}" if bend else f"conv{count}"

    def unit(x: str, part: Unit, bend: bool) -> str:
        kernel, bias = part.fused()
        rows, columns = part.conv.padding
        return conv(x, kernel, bias, [rows, columns, rows, columns], bend)

    x = "line"
    for index, part in enumerate(net.body):
        if isinstance(part, nn.MaxPool2d):
            shape = list(part.kernel_size)
            nodes.append(helper.make_node("MaxPool", [x], [f"pool{index}"], kernel_shape=shape, strides=shape))
            x = f"pool{index}"
        elif isinstance(part, Pair):
            inner = unit(unit(x, part.first, True), part.second, False)
            nodes.append(helper.make_node("Add", [x, inner], [f"sum{index}"]))
            nodes.append(helper.make_node("Relu", [f"sum{index}"], [f"out{index}"]))
            x = f"out{index}"
        else:
            x = unit(x, part, True)
    head = net.head
    x = conv(x, head.weight.detach().cpu().numpy(), head.bias.detach().cpu().numpy(), [0, 0, 0, 0], False)
    weights.append(numpy_helper.from_array(np.array([2], np.int64), "row"))
    nodes.append(helper.make_node("Squeeze", [x, "row"], ["scores"]))
    graph = helper.make_graph(
        nodes,
        "display reader",
        [helper.make_tensor_value_info("line", TensorProto.FLOAT, ["lines", 1, 32, "width"])],
        [helper.make_tensor_value_info("scores", TensorProto.FLOAT, ["lines", CODES, "steps"])],
        weights,
    )
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 13)], producer_name="sayback training")
    model.ir_version = 8
    helper.set_model_props(model, {"alphabet": ALPHABET, **notes})
    onnx.checker.check_model(model)
    return model.SerializeToString()
