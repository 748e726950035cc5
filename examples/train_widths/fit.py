"""Fits the network that reads widths to tables made by the example train_widths (PyTorch; a processor will do).

    python3 fit.py TRAIN JUDGE WEIGHTS [--all] [--without GROUP,GROUP]

TRAIN and JUDGE are tables without their endings; TRAIN may be several, by commas. A quarter of the shoots is kept from the fit and judged; with --all the fit
takes every shoot, which is how the weights in the repository were made, and the judgement says nothing. --without leaves out
what belongs to groups whose names begin so, as an ablation does.
WEIGHTS is a text file: a line "name rows columns", then the numbers of each row.
"""

import argparse
import hashlib
import json
import math
import sys

import numpy as np
import torch
from torch import nn

HIDDEN, EPOCHS, BATCH, RATE = 256, 72, 8192, 2e-3
# Hidden layers of the members: what networks of two depths disagree on, neither knows.
MEMBERS = {4: 2, 6: 2}
# Weight of places without fine detail of their own (cloud, haze, even walls): they look blurred whatever the lens does.
FAINT = 0.25
TOLD = 0.25
# Standard deviation, in ln width, that scenes of other kinds add to what the networks say; as in measure/width/network.rs.
FLOOR = 0.03
# What the fit expects of any patch, ln width and its standard deviation; as in measure/width/mod.rs.
EXPECTED, UNSEEN = 0.42, 0.85


def load(names):
    """One table or several of the same scenes, by commas."""
    abouts = [json.load(open(name + ".json")) for name in names.split(",")]
    about = abouts[0]
    if any((a["groups"], a["width"]) != (about["groups"], about["width"]) for a in abouts):
        sys.exit("these tables are of other scenes or numbers")
    tables = [np.fromfile(name + ".bin", dtype="<f4") for name in names.split(",")]
    rows = np.concatenate(tables).reshape(-1, about["width"])
    columns = {c: rows[:, i] for i, c in enumerate(about["columns"])}
    return about, columns, rows[:, len(about["columns"]) :]


def kept(group):
    """Whether a shoot is kept for judging."""
    return int(hashlib.md5(group.encode()).hexdigest(), 16) % 4 == 0


class Committee(nn.Module):
    """Networks of one shape, fitted beside each other: weights are members x inputs x outputs."""

    def __init__(self, mean, spread, layers):
        super().__init__()
        self.layers, self.members = layers, MEMBERS[layers]
        self.register_buffer("mean", mean)
        self.register_buffer("spread", spread)
        sizes = [len(mean)] + [HIDDEN] * layers + [2]
        self.weights, self.biases = nn.ParameterList(), nn.ParameterList()
        for inputs, outputs in zip(sizes, sizes[1:]):
            for where, rows in ((self.weights, inputs), (self.biases, 1)):
                start = (2 * torch.rand(self.members, rows, outputs) - 1) / math.sqrt(inputs)
                where.append(nn.Parameter(start))

    def forward(self, x):
        """Of (members, patches, numbers) the ln widths and ln sds, (members, patches, 2)."""
        x = ((x - self.mean) / self.spread).clamp(-6, 6)
        for k, (weights, bias) in enumerate(zip(self.weights, self.biases)):
            x = torch.baddbmm(bias, x, weights)
            if k < self.layers:
                x = nn.functional.silu(x)
        return torch.stack([x[..., 0], x[..., 1].clamp(-4, 1.5)], -1)


def loss(out, width, weight):
    """Negative log likelihood of the width; squares beyond three standard deviations count linearly."""
    z = ((width - out[..., 0]) / out[..., 1].exp()).abs()
    return (weight * (out[..., 1] + torch.where(z < 3, 0.5 * z**2, 3 * z - 4.5))).mean(1).sum()


def fit(x, target, layers, device):
    """Members of one depth fitted to all rows; they differ in where they start and in the order of the rows."""
    torch.manual_seed(layers)
    torch.set_float32_matmul_precision("high")
    committee = Committee(x.mean(0), x.std(0) + 1e-3, layers).to(device)
    optimiser = torch.optim.AdamW(committee.parameters(), RATE, weight_decay=1e-3, fused=True)
    steps = EPOCHS * (len(x) // BATCH)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, RATE, steps + 1, pct_start=0.1)
    pupil = x.shape[1] - 2
    for epoch in range(EPOCHS):
        order = torch.stack([torch.randperm(len(x), device=device) for _ in range(committee.members)])
        total = 0.0
        for chosen in order[:, : len(x) // BATCH * BATCH].split(BATCH, 1):
            batch = x[chosen]
            # The pupil is sometimes not known.
            batch[..., pupil:] *= (torch.rand(*chosen.shape, 1, device=device) > 0.2).float()
            value = loss(committee(batch), *(t[chosen] for t in target))
            optimiser.zero_grad()
            value.backward()
            optimiser.step()
            schedule.step()
            total += value.detach()
        if epoch % 10 == 9:
            print(f"epoch {epoch + 1}: {total.item() / committee.members / (len(x) // BATCH):.3f}", flush=True)
    return committee.eval()


def together(committees, x):
    """Mean of all members; where they differ the error grows."""
    parts = [[c(part.expand(c.members, -1, -1)) for part in x.split(100_000)] for c in committees]
    outs = torch.cat([torch.cat(p, 1) for p in parts])
    mean = outs.mean(0)
    square = (2 * outs[..., 1]).exp().mean(0) + outs[..., 0].var(0, unbiased=False) + FLOOR**2
    mean[:, 1] = 0.5 * square.log()
    return mean


def words(out):
    """ln widths and their standard deviations as the patches say them by themselves, where the networks know more than was expected."""
    own = np.exp(-2 * out[:, 1]) - UNSEEN**-2
    return (out[:, 0] * np.exp(-2 * out[:, 1]) - EXPECTED * UNSEEN**-2) / own, own**-0.5


def judged(out, width, extra=""):
    told = np.exp(out[:, 1]) < TOLD
    if not told.any():
        return f"{len(width):6d} tiles, none told {extra}"
    log, s = words(out[told])
    e = log - width[told]
    percent = lambda share: 100 * (math.exp(np.quantile(e, share)) - 1)
    within = lambda z: 100 * (np.abs(e) < z * s).mean()
    half = (percent(0.84) - percent(0.16)) / 2
    return (
        f"{len(width):6d} tiles, told {100 * told.mean():5.1f} %, median {percent(0.5):+5.1f} %, half of 68 % {half:5.1f} %, "
        f"within 1 sd {within(1):3.0f} %, 2 sd {within(2):3.0f} % {extra}"
    )


def write(committees, name):
    with open(name, "w") as out:

        def put(what, values, digits=3):
            values = np.atleast_2d(values.detach().cpu().numpy())
            out.write(f"{what} {values.shape[0]} {values.shape[1]}\n")
            for row in values:
                out.write(" ".join(f"{v:.{digits}g}" for v in row) + "\n")

        put("mean", committees[0].mean, 4)
        put("spread", committees[0].spread, 4)
        for committee in committees:
            for member in range(committee.members):
                for k, (weights, bias) in enumerate(zip(committee.weights, committee.biases)):
                    put(f"weights{k + 1}", weights[member].T)
                    put(f"bias{k + 1}", bias[member])


def main():
    parser = argparse.ArgumentParser()
    for name in ("train", "judge", "weights"):
        parser.add_argument(name)
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--without", default="", help="beginnings of the names of groups to leave out, by commas")
    asked = parser.parse_args()
    train, judge, weights, everything = asked.train, asked.judge, asked.weights, asked.all
    device = "cuda" if torch.cuda.is_available() else "cpu"
    about, columns, features = load(train)
    scene = columns["scene"].astype(int)
    held = np.array([kept(g) for g in about["groups"]])
    without = tuple(name for name in asked.without.split(",") if name)
    wanted = np.array([not (without and g.startswith(without)) for g in about["groups"]])
    # A shoot is kept from the fit whole: also where it is only laid over another.
    layers = [columns[name].astype(int) for name in ("scene", "over", "under")]
    shown = np.any([(layer >= 0) & held[layer] for layer in layers], 0)
    use = wanted[scene] if everything else wanted[scene] & ~shown
    tensor = lambda values: torch.tensor(np.ascontiguousarray(values[use]), device=device)
    target = [tensor(columns["ln_width"])]
    faint = (columns["visible"] < 0.004) & (columns["flat"] == 0)
    target.append(tensor(np.where(faint, FAINT, 1.0).astype(np.float32)))
    committees = [fit(tensor(features), target, layers, device) for layers in MEMBERS]
    write(committees, weights)
    with torch.no_grad():
        run = lambda x: together(committees, torch.tensor(np.ascontiguousarray(x), device=device)).cpu().numpy()
        print("shoots kept from the fit, random spreads")
        rest = held[scene] & (columns["over"] < 0)
        for number, way in enumerate(["plain", "bayer", "x-trans", "jpeg", "developed"]):
            some = rest & (columns["way"] == number) & (columns["flat"] == 0) & (columns["visible"] > 0.004)
            print(f"{way:10s}", judged(run(features[some]), columns["ln_width"][some]))
        some = rest & (columns["flat"] == 1)
        out = run(features[some])
        print(f"flat: {100 * (np.exp(out[:, 1]) < TOLD).mean():.2f} % of {some.sum()} told")
        about, columns, features = load(judge)
        held = np.array([kept(g) for g in about["groups"]])[columns["scene"].astype(int)]
        out = run(features)
        names = ["Gaussian 0.5", "Gaussian 0.8", "Gaussian 1.5", "Gaussian 2.5", "disc 3", "disc 6", "disc 10", "pupil 2", "disc 16", "disc 24"]
        for reduced in (1, 2):
            print("fixed spreads", "scenes halved" if reduced == 2 else "")
            for number, way in ((0, "plain"), (3, "jpeg"), (1, "bayer"), (4, "camera")):
                for spread, name in enumerate(names):
                    some = held & (columns["spread"] == spread) & (columns["way"] == number)
                    some &= (columns["reduced"] == reduced) & (columns["visible"] > 0.004)
                    print(f"{way:6s} {name:13s}", judged(out[some], columns["ln_width"][some]))
        error, sd = out[:, 0] - columns["ln_width"], np.exp(out[:, 1])
        some = held & (sd < TOLD) & (columns["visible"] > 0.004) & (columns["reduced"] == 1)
        z, draw = error[some] / sd[some], columns["draw"][some].astype(int)
        sums, counts = np.bincount(draw, z), np.bincount(draw)
        many = counts >= 8
        means = sums[many] / counts[many]
        total = (z**2).mean()
        own = np.mean([((z[draw == d] - m) ** 2).sum() / (counts[d] - 1) for d, m in zip(np.flatnonzero(many), means)])
        print(f"mean square of errors in sd {total:.2f}, within a picture {own:.2f}: common share {1 - own / total:.2f}")


main()
