"""Ten million trials of x1*x2/x3 + sin(x4)*x5 with five normal inputs, by numpy on one thread: the baseline of the
benchmark `trials`. Prints only."""
import time
import numpy as np

N, CHUNK = 10_000_000, 8192


def best(call):
    walls, cpus = [], []
    for _ in range(5):
        wall, cpu = time.perf_counter(), time.process_time()
        call()
        walls.append(time.perf_counter() - wall)
        cpus.append(time.process_time() - cpu)
    return min(walls), min(cpus)


def draw(rng, n):
    return [rng.normal(i + 2, 0.1, n) for i in range(5)]


def model(x):
    return x[0] * x[1] / x[2] + np.sin(x[3]) * x[4]


def chunked(with_model):
    rng = np.random.default_rng(1)
    for _ in range(-(-N // CHUNK)):
        x = draw(rng, CHUNK)
        if with_model:
            model(x)


def whole():
    y = model(draw(np.random.default_rng(1), N))
    return y.mean(), y.std(ddof=1), np.quantile(y, [0.025, 0.975])


for what, call in [
    ("draws, chunks of 8192", lambda: chunked(False)),
    ("draws and model, chunks of 8192", lambda: chunked(True)),
    ("all of it in one array: mean, u, 95 % interval", whole),
]:
    wall, cpu = best(call)
    print(f"baseline, numpy: {what}".ljust(62), f"{wall:5.2f} s wall {cpu:5.2f} s CPU {cpu / N * 1e9:6.1f} ns CPU a trial")
