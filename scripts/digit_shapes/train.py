"""Trains, calibrates and tests the network of src/recognise/score/shape_prior.rs.

Usage: train.py FOLDER TABLE [EPOCHS]   (reads FOLDER/{train,tune,test}-*.npz, writes TABLE)

In use the network sees a grid and its negative and what it gives for both is added up, so polarity makes no
difference; while it is trained every grid has a random sign, which costs half as much.
TABLE holds little-endian f32: the temperature, the share mixed with the uniform distribution, then the weights and
biases of two convolutions and two dense layers, in the order in which `layers` lists them.
"""

import sys
from pathlib import Path

import jax
import jax.numpy as jnp
import numpy as np
from scipy.optimize import minimize

from features import GRID, grid_of
from scenes import MEANS, STYLES

SEED = 1
FIRST, SECOND, HIDDEN = 12, 24, 48
FIRST_SIZE, SECOND_SIZE = 5, 3
BATCH = 256
RATE, DECAY, DROPPED = 2.5e-3, 1e-4, 0.1
# Label smoothing: share of a label that is spread over all digits, so that the logits do not grow without limit.
SMOOTHING = 0.02
# Minimum share of the uniform distribution: on held-out faces a few in a thousand of the most certain digits are wrong.
LEAST_MIXED = 0.003


def load(folder, split):
    parts = [np.load(path) for path in sorted(folder.glob(f"{split}-*.npz"))]
    return [np.concatenate([part[name] for part in parts]) for name in ("grids", "labels", "about")]


def layers(rng):
    """Weights and biases: convolutions as rows x columns x in x out, dense layers as in x out."""
    pooled = (GRID[0] // 4) * (GRID[1] // 4) * SECOND
    sizes = [(FIRST_SIZE, FIRST_SIZE, 1, FIRST), (SECOND_SIZE, SECOND_SIZE, FIRST, SECOND),
             (pooled, HIDDEN), (HIDDEN, 10)]
    made = []
    for size in sizes:
        made += [rng.standard_normal(size) * np.sqrt(2 / np.prod(size[:-1])), np.zeros(size[-1])]
    return [jnp.asarray(one, jnp.float32) for one in made]


def convolved(grid, weights, biases):
    out = jax.lax.conv_general_dilated(grid, weights, (1, 1), "SAME", dimension_numbers=("NHWC", "HWIO", "NHWC"))
    out = jax.nn.relu(out + biases)
    return jax.lax.reduce_window(out, -jnp.inf, jax.lax.max, (1, 2, 2, 1), (1, 2, 2, 1), "VALID")


def one_sign(net, grids, drop=None):
    out = convolved(convolved(grids[..., None], *net[0:2]), *net[2:4])
    out = out.reshape(out.shape[0], -1)
    out = jax.nn.relu(out @ net[4] + net[5])
    if drop is not None:
        out = out * drop
    return out @ net[6] + net[7]


def logits(net, grids):
    return one_sign(net, grids) + one_sign(net, -grids)


def targets(labels):
    none = labels == 10
    exact = jax.nn.one_hot(jnp.where(none, 0, labels), 10) * (1 - SMOOTHING) + SMOOTHING / 10
    return jnp.where(none[:, None], 0.1, exact)


def loss(net, grids, labels, drop):
    return -(targets(labels) * jax.nn.log_softmax(one_sign(net, grids, drop))).sum(1).mean()


@jax.jit
def step(net, moments, grids, labels, drop, rate, count):
    slope = jax.grad(loss)(net, grids, labels, drop)
    first = [0.9 * m + 0.1 * g for m, g in zip(moments[0], slope)]
    second = [0.999 * m + 0.001 * g * g for m, g in zip(moments[1], slope)]
    fair = (1 - 0.9**count, 1 - 0.999**count)
    net = [w - rate * ((m / fair[0]) / (jnp.sqrt(v / fair[1]) + 1e-8) + DECAY * w * (w.ndim > 1))
           for w, m, v in zip(net, first, second)]
    return net, (first, second)


def train(data, epochs):
    rng = np.random.default_rng(SEED)
    grids, labels, _ = data
    net = layers(rng)
    moments = ([jnp.zeros_like(w) for w in net],) * 2
    steps = epochs * (len(labels) // BATCH)
    count = 0
    for epoch in range(epochs):
        order = rng.permutation(len(labels))
        for start in range(0, len(order) - BATCH + 1, BATCH):
            count += 1
            chosen = order[start:start + BATCH]
            rate = RATE * min(1, count / 300) * 0.5 * (1 + np.cos(np.pi * count / steps))
            drop = (rng.random((BATCH, HIDDEN)) < 1 - DROPPED).astype(np.float32) / (1 - DROPPED)
            signed = grids[chosen].astype(np.float32) * rng.choice([-1, 1], (BATCH, 1, 1)).astype(np.float32)
            net, moments = step(net, moments, signed, labels[chosen], drop, rate, count)
        print("epoch", epoch + 1, flush=True)
    return net


def all_logits(net, grids):
    found = jax.jit(logits)
    return np.concatenate([np.asarray(found(net, grids[i:i + 2000].astype(np.float32)), np.float64)
                           for i in range(0, len(grids), 2000)])


def probabilities(found, temperature, mixed):
    raised = np.exp((found - found.max(1, keepdims=True)) / temperature)
    return (1 - mixed) * raised / raised.sum(1, keepdims=True) + mixed / 10


def calibrate(found, labels):
    """Temperature and share of the uniform distribution that maximise the likelihood of the digits."""
    digit = labels < 10
    found, labels = found[digit], labels[digit]

    def cost(setting):
        given = probabilities(found, np.exp(setting[0]), LEAST_MIXED + np.exp(setting[1]))
        return -np.log(given[np.arange(len(labels)), labels]).mean()

    best = minimize(cost, [0.0, -5.0], method="Nelder-Mead").x
    return float(np.exp(best[0])), float(LEAST_MIXED + np.exp(best[1]))


def report(given, labels, about):
    style, means, horizon, height, _ = about.T
    digit = labels < 10
    right = given.argmax(1) == labels
    sure = given.max(1)

    def row(name, which):
        which = which & digit
        if not which.any():
            return
        text = f"{name:22} n {which.sum():6}  right {right[which].mean():.4f}  said {sure[which].mean():.4f}"
        for bound in (0.9, 0.99):
            above = which & (sure >= bound)
            text += f"  >={bound}: {above.sum() / which.sum():.3f} right {right[above].mean():.4f}"
        print(text)

    row("all", digit)
    for number, name in enumerate(STYLES):
        row(name, style == number)
    for number, name in enumerate(MEANS):
        row(name, means == number)
    row("with horizon", horizon == 1)
    row("no horizon", horizon == 0)
    for low, high in ((8, 12), (12, 20), (20, 40), (40, 111)):
        row(f"height {low}..{high - 1}", (height >= low) & (height < high))
    print("reliability (predicted, right, share):")
    edges = [0, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 0.995, 1.01]
    for low, high in zip(edges, edges[1:]):
        which = digit & (sure >= low) & (sure < high)
        if which.any():
            print(f"  {low:.3f}..{high:.3f}  {sure[which].mean():.4f}  {right[which].mean():.4f}  {which.sum() / digit.sum():.4f}")
    none = ~digit
    print(f"no digit: n {none.sum()}, mean of the greatest {sure[none].mean():.3f},"
          f" above 0.9 {np.mean(sure[none] > 0.9):.4f}, above 0.5 {np.mean(sure[none] > 0.5):.4f}")
    wrong = digit & ~right & (sure > 0.9)
    pairs = {}
    for true, said in zip(labels[wrong], given[wrong].argmax(1)):
        pairs[(int(true), int(said))] = pairs.get((int(true), int(said)), 0) + 1
    print("confusions above a probability of 0.9:", sorted(pairs.items(), key=lambda pair: -pair[1])[:10])
    wrong = digit & ~right
    table = np.zeros((10, 10), int)
    np.add.at(table, (labels[wrong], given[wrong].argmax(1)), 1)
    print("all confusions (row: true):", table, sep="\n")


def sample_cell():
    """The cell in a test of shape_prior.rs: a simple "7" and a ramp, rows x columns."""
    y, x = np.mgrid[:19, :11]
    stroke = (y < 4) | (np.abs(x - (10 - 0.5 * y)) < 1.5)
    return np.where(stroke, 60.0, -15.0) + 0.5 * x - 0.25 * y


def main(folder, table, epochs):
    net = train(load(folder, "train"), epochs)
    tune, test = load(folder, "tune"), load(folder, "test")
    temperature, mixed = calibrate(all_logits(net, tune[0]), tune[1])
    print(f"temperature {temperature:.4f}, mixed {mixed:.5f}")
    parts = [np.array([temperature, mixed])] + [np.asarray(w).ravel() for w in net]
    np.concatenate(parts).astype("<f4").tofile(table)
    given = probabilities(all_logits(net, grid_of(sample_cell())[None]), temperature, mixed)
    print("logarithms for the sample cell:", ", ".join(f"{value:.4f}" for value in np.log(given[0])))
    for name, split in (("tune", tune), ("test", test)):
        print(name)
        report(probabilities(all_logits(net, split[0]), temperature, mixed), split[1], split[2])


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]) if len(sys.argv) > 3 else 5)
