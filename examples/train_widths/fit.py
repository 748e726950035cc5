"""Fits the network that reads widths to tables made by the example train_widths (PyTorch; a processor will do).

    python3 fit.py TRAIN JUDGE WEIGHTS [--all] [--without GROUP,GROUP]

TRAIN and JUDGE are tables without their endings. A quarter of the shoots is kept from the fit and judged; with --all the fit
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

HIDDEN, MEMBERS, EPOCHS, BATCH, RATE = 160, 3, 80, 4096, 2e-3
# Weight of places without fine detail of their own (cloud, haze, even walls): they look blurred whatever the lens does.
FAINT = 0.25
TOLD = 0.25


def load(name):
    about = json.load(open(name + ".json"))
    rows = np.fromfile(name + ".bin", dtype="<f4").reshape(-1, about["width"])
    columns = {c: rows[:, i] for i, c in enumerate(about["columns"])}
    return about, columns, rows[:, len(about["columns"]) :]


def kept(group):
    """Whether a shoot is kept for judging."""
    return int(hashlib.md5(group.encode()).hexdigest(), 16) % 4 == 0


class Network(nn.Module):
    def __init__(self, mean, spread):
        super().__init__()
        self.register_buffer("mean", mean)
        self.register_buffer("spread", spread)
        self.layers = nn.Sequential(
            nn.Linear(len(mean), HIDDEN), nn.SiLU(), nn.Linear(HIDDEN, HIDDEN), nn.SiLU(), nn.Linear(HIDDEN, 2)
        )

    def forward(self, x):
        return self.layers(((x - self.mean) / self.spread).clamp(-6, 6))


def loss(out, width, weight):
    """Negative log likelihood of the width; squares beyond three standard deviations count linearly."""

    def normal(error, log_sd):
        z = (error / log_sd.exp()).abs()
        return log_sd + torch.where(z < 3, 0.5 * z**2, 3 * z - 4.5)

    log_sd = out[:, 1].clamp(-4, 1.5)
    return (weight * normal(width - out[:, 0], log_sd)).mean()


def fit(x, target, device, seed):
    torch.manual_seed(seed)
    network = Network(x.mean(0), x.std(0) + 1e-3).to(device)
    optimiser = torch.optim.AdamW(network.parameters(), RATE, weight_decay=1e-3)
    steps = EPOCHS * (len(x) // BATCH)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, RATE, steps + 1, pct_start=0.1)
    pupil = x.shape[1] - 2
    for epoch in range(EPOCHS):
        order = torch.randperm(len(x), device=device)
        total = 0.0
        for i in range(len(x) // BATCH):
            chosen = order[i * BATCH : (i + 1) * BATCH]
            batch = x[chosen]
            # The pupil is sometimes not known.
            batch[:, pupil:] *= (torch.rand(len(batch), 1, device=device) > 0.2).float()
            value = loss(network(batch), *(t[chosen] for t in target))
            optimiser.zero_grad()
            value.backward()
            optimiser.step()
            schedule.step()
            total += value.item()
        if epoch % 10 == 9:
            print(f"epoch {epoch + 1}: {total / (len(x) // BATCH):.3f}", flush=True)
    return network.eval()


def together(networks, x):
    """Mean of the members; where they differ the error grows."""
    outs = torch.stack([n(x) for n in networks])
    outs[:, :, 1] = outs[:, :, 1].clamp(-4, 1.5)
    mean = outs.mean(0)
    square = (2 * outs[:, :, 1]).exp().mean(0) + outs[:, :, 0].var(0, unbiased=False)
    mean[:, 1] = 0.5 * square.log()
    return mean


def judged(out, width, extra=""):
    error, sd = out[:, 0] - width, np.exp(np.clip(out[:, 1], -4, 1.5))
    told = sd < TOLD
    if not told.any():
        return f"{len(error):6d} tiles, none told {extra}"
    e, s = error[told], sd[told]
    percent = lambda share: 100 * (math.exp(np.quantile(e, share)) - 1)
    within = lambda z: 100 * (np.abs(e) < z * s).mean()
    half = (percent(0.84) - percent(0.16)) / 2
    return (
        f"{len(error):6d} tiles, told {100 * told.mean():5.1f} %, median {percent(0.5):+5.1f} %, half of 68 % {half:5.1f} %, "
        f"within 1 sd {within(1):3.0f} %, 2 sd {within(2):3.0f} % {extra}"
    )


def write(networks, name):
    with open(name, "w") as out:

        def put(what, values):
            values = np.atleast_2d(values.detach().cpu().numpy())
            out.write(f"{what} {values.shape[0]} {values.shape[1]}\n")
            for row in values:
                out.write(" ".join(f"{v:.4g}" for v in row) + "\n")

        put("mean", networks[0].mean)
        put("spread", networks[0].spread)
        for network in networks:
            for k in (0, 2, 4):
                put(f"weights{k // 2 + 1}", network.layers[k].weight)
                put(f"bias{k // 2 + 1}", network.layers[k].bias)


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
    use = wanted[scene] if everything else wanted[scene] & ~held[scene]
    tensor = lambda values: torch.tensor(np.ascontiguousarray(values[use]), device=device)
    target = [tensor(columns["ln_width"])]
    faint = (columns["visible"] < 0.004) & (columns["flat"] == 0)
    target.append(tensor(np.where(faint, FAINT, 1.0).astype(np.float32)))
    networks = [fit(tensor(features), target, device, seed) for seed in range(MEMBERS)]
    write(networks, weights)
    with torch.no_grad():
        run = lambda x: together(networks, torch.tensor(np.ascontiguousarray(x), device=device)).cpu().numpy()
        print("shoots kept from the fit, random spreads")
        rest = held[scene]
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
        for halved in (0, 1):
            print("fixed spreads", "scenes halved" if halved else "")
            for number, way in ((0, "plain"), (3, "jpeg"), (1, "bayer")):
                for spread, name in enumerate(names):
                    some = held & (columns["spread"] == spread) & (columns["way"] == number)
                    some &= (columns["halved"] == halved) & (columns["visible"] > 0.004)
                    print(f"{way:6s} {name:13s}", judged(out[some], columns["ln_width"][some]))
        error, sd = out[:, 0] - columns["ln_width"], np.exp(np.clip(out[:, 1], -4, 1.5))
        some = held & (sd < TOLD) & (columns["visible"] > 0.004) & (columns["halved"] == 0)
        z, draw = error[some] / sd[some], columns["draw"][some].astype(int)
        sums, counts = np.bincount(draw, z), np.bincount(draw)
        many = counts >= 8
        means = sums[many] / counts[many]
        total = (z**2).mean()
        own = np.mean([((z[draw == d] - m) ** 2).sum() / (counts[d] - 1) for d, m in zip(np.flatnonzero(many), means)])
        print(f"mean square of errors in sd {total:.2f}, within a picture {own:.2f}: common share {1 - own / total:.2f}")


main()
