"""Trains, calibrates and tests the line reader of src/line_reader/network.rs.

Usage: train.py FOLDER TABLE [MINUTES [WEIGHTS]]   (reads FOLDER/lines-*.npz, writes TABLE and FOLDER/line_reader.pt)

The training continues from WEIGHTS, the line_reader.pt of an earlier run. If that run had fewer classes, the new ones
start with the weights of the class for every other character.

TABLE holds, little-endian: the temperature as f32, then for each layer, in the order of `NETWORK`, a scale as f32 and weights
and biases as i16 multiples of that scale. Batch normalisation is folded into the weights.
"""

import sys
import time
from pathlib import Path

import numpy as np
import torch
from torch import nn

SEED = 1
CLASSES = 44
BATCH = 64
RATE, DECAY = 2e-3, 1e-4
# Inputs, outputs, kernel rows and columns, padding rows, pooling rows and columns.
NETWORK = [
    (1, 16, 5, 5, 2, 2, 2),
    (16, 32, 3, 3, 1, 2, 1),
    (32, 64, 3, 3, 1, 2, 1),
    (64, 96, 3, 3, 0, 1, 1),
    (96, 96, 1, 5, 0, 1, 1),
    (96, 96, 1, 5, 0, 1, 1),
]


class Net(nn.Module):
    def __init__(self):
        super().__init__()
        parts = []
        for inputs, outputs, rows, cols, pad, down, across in NETWORK:
            parts += [nn.Conv2d(inputs, outputs, (rows, cols), padding=(pad, cols // 2), bias=False),
                      nn.BatchNorm2d(outputs), nn.ReLU(inplace=True)]
            if down * across > 1:
                parts.append(nn.MaxPool2d((down, across)))
        self.body = nn.Sequential(*parts)
        self.drop = nn.Dropout(0.1)
        self.out = nn.Conv2d(NETWORK[-1][1], CLASSES, 1)

    def forward(self, images):
        """Logits, batch x columns x classes, of images batch x rows x columns."""
        return self.out(self.drop(self.body(images[:, None]))).squeeze(2).transpose(1, 2)


def with_all_classes(state):
    """The weights of an earlier run, extended to the current number of classes."""
    weights, biases = state["out.weight"], state["out.bias"]
    new = CLASSES - len(biases)
    # The last class stands for every other character.
    spread = 0.02 * torch.randn(new, *weights.shape[1:])
    state["out.weight"] = torch.cat([weights[:-1], weights[-1:] + spread, weights[-1:]])
    state["out.bias"] = torch.cat([biases[:-1], (biases[-1:] - np.log(new + 1)).expand(new), biases[-1:]])
    return state


def load(folder, split):
    images, texts, about = [], [], []
    for path in sorted(folder.glob(f"lines-{split}-*.npz")):
        part = np.load(path)
        ends = np.cumsum(part["columns"])
        images += np.split(part["images"], ends[:-1], axis=1)
        texts += np.split(part["texts"], np.cumsum(part["lengths"])[:-1])
        about.append(part["about"])
    return images, texts, np.concatenate(about)


def batches(data, rng):
    """Indices of images, in batches of similar width."""
    widths = np.array([image.shape[1] for image in data[0]])
    order = np.argsort(widths + rng.uniform(0, 12, len(widths)))
    groups = [order[i:i + BATCH] for i in range(0, len(order), BATCH)]
    rng.shuffle(groups)
    return groups


def tensors(data, chosen, rng=None):
    images, texts, _ = data
    width = max(images[i].shape[1] for i in chosen)
    width += width % 2
    grid = np.zeros((len(chosen), images[0].shape[0], width), np.float32)
    for row, i in enumerate(chosen):
        image = images[i].astype(np.float32)
        if rng is not None:
            image = image * rng.choice([-1, 1]) * rng.uniform(0.85, 1.15)
            if rng.random() < 0.2:
                image = image + rng.standard_normal(image.shape).astype(np.float32) * rng.uniform(0, 0.4)
        grid[row, :, :image.shape[1]] = image
    steps = torch.tensor([max(1, images[i].shape[1] // 2) for i in chosen])
    wanted = torch.tensor(np.concatenate([texts[i] for i in chosen]).astype(np.int64))
    lengths = torch.tensor([len(texts[i]) for i in chosen])
    return torch.from_numpy(grid), steps, wanted, lengths


def ctc(logits, steps, wanted, lengths, reduction="mean"):
    found = logits.log_softmax(2).transpose(0, 1)
    return nn.functional.ctc_loss(found, wanted, steps, lengths, blank=0, reduction=reduction, zero_infinity=True)


def greedy(logits, steps):
    """Texts of the best paths, with the mean log probability along each path as a confidence."""
    best = logits.argmax(2).numpy()
    out = []
    for path, count in zip(best, steps.tolist()):
        path = path[:count]
        keep = np.flatnonzero((path != 0) & (path != np.concatenate([[0], path[:-1]])))
        out.append(path[keep])
    return out


def measure(net, data, name, temperature=1.0):
    net.eval()
    right, sure, about = [], [], []
    order = np.argsort([image.shape[1] for image in data[0]])
    with torch.no_grad():
        for start in range(0, len(order), 128):
            chosen = order[start:start + 128]
            grid, steps, _, _ = tensors(data, chosen)
            logits = net(grid) / temperature
            texts = greedy(logits, steps)
            wanted = torch.tensor(np.concatenate(texts).astype(np.int64))
            lengths = torch.tensor([len(text) for text in texts])
            given = torch.exp(-ctc(logits, steps, wanted, lengths, "none"))
            sure += given.tolist()
            right += [np.array_equal(text, data[1][i]) for text, i in zip(texts, chosen)]
            about += [data[2][i] for i in chosen]
    right, sure, about = np.array(right), np.array(sure), np.array(about)
    print(f"{name}: lines right {right.mean():.4f}, mean probability {sure.mean():.4f}", flush=True)
    for low, high in ((0, 0.5), (0.5, 0.9), (0.9, 0.97), (0.97, 0.99), (0.99, 0.997), (0.997, 1.01)):
        which = (sure >= low) & (sure < high)
        if which.any():
            print(f"  at {low}..{high}: {which.mean():.3f} of the lines, right {right[which].mean():.4f}")
    for low, high in ((9, 13), (13, 20), (20, 36), (36, 57)):
        which = (about[:, 2] >= low) & (about[:, 2] < high)
        print(f"  height {low}..{high - 1}: right {right[which].mean():.4f}")
    for style in range(5):
        print(f"  style {style}: right {right[about[:, 0] == style].mean():.4f}")


def calibrate(net, data):
    """The temperature that maximises the likelihood."""
    net.eval()
    costs = {}
    with torch.no_grad():
        made = []
        for start in range(0, len(data[0]), 128):
            grid, steps, wanted, lengths = tensors(data, range(start, min(start + 128, len(data[0]))))
            made.append((net(grid), steps, wanted, lengths))
        for temperature in np.arange(0.7, 2.51, 0.1):
            costs[temperature] = np.mean([float(ctc(logits / temperature, *rest)) for logits, *rest in made])
    return float(min(costs, key=costs.get))


def folded(net):
    """Weights and biases of every layer with the batch normalisation folded in."""
    layers = []
    modules = list(net.body) + [net.out]
    for number, module in enumerate(modules):
        if not isinstance(module, nn.Conv2d):
            continue
        weights = module.weight.detach().numpy()
        if module is net.out:
            layers.append((weights, module.bias.detach().numpy()))
            continue
        norm = modules[number + 1]
        scale = (norm.weight / torch.sqrt(norm.running_var + norm.eps)).detach().numpy()
        layers.append((weights * scale[:, None, None, None], norm.bias.detach().numpy() - norm.running_mean.numpy() * scale))
    return layers


def write(path, temperature, layers):
    with open(path, "wb") as file:
        file.write(np.float32(temperature).tobytes())
        for weights, biases in layers:
            # rows x columns x inputs x outputs
            numbers = np.concatenate([weights.transpose(2, 3, 1, 0).ravel(), biases])
            scale = np.float32(np.abs(numbers).max() / 32767)
            file.write(scale.tobytes())
            file.write(np.round(numbers / scale).astype("<i2").tobytes())


def main(folder, table, minutes, weights=None):
    torch.manual_seed(SEED)
    rng = np.random.default_rng(SEED + bool(weights))
    net = Net()
    if weights:
        net.load_state_dict(with_all_classes(torch.load(weights)))
    print(sum(w.numel() for w in net.parameters()), "weights")
    optimiser = torch.optim.AdamW(net.parameters(), lr=RATE, weight_decay=DECAY)
    started, count = time.time(), 0
    tune = load(folder, "tune")
    while True:
        data = load(folder, "train")
        net.train()
        total = 0.0
        for number, chosen in enumerate(batches(data, rng)):
            done = (time.time() - started) / 60 / minutes
            if done >= 1:
                break
            count += 1
            for group in optimiser.param_groups:
                group["lr"] = RATE * min(1, count / 200) * 0.5 * (1 + np.cos(np.pi * min(1, done)))
            grid, steps, wanted, lengths = tensors(data, chosen, rng)
            cost = ctc(net(grid), steps, wanted, lengths)
            optimiser.zero_grad()
            cost.backward()
            nn.utils.clip_grad_norm_(net.parameters(), 5.0)
            optimiser.step()
            total += float(cost.detach())
            if number % 100 == 99:
                print(f"{len(data[0])} lines, batch {count}, {done:.2f} done, loss {total / 100:.3f}", flush=True)
                total = 0.0
        measure(net, tune, "tune")
        torch.save(net.state_dict(), folder / "line_reader.pt")
        write(table, 1.0, folded(net))
        if done >= 1:
            break
    temperature = calibrate(net, tune)
    print("temperature", temperature)
    write(table, temperature, folded(net))
    measure(net, tune, "tune, calibrated", temperature)
    measure(net, load(folder, "test"), "test, calibrated", temperature)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], float(sys.argv[3]) if len(sys.argv) > 3 else 40, *sys.argv[4:5])
