"""Ten million trials of x1*x2/x3 + sin(x4)*x5 with five normal inputs, by numpy on one thread: the baseline of the
benchmark `trials`. Prints only."""
import time
import numpy as np

N, CHUNK = 10_000_000, 8192


def best(call):
    times = []
    for _ in range(3):
        start = time.perf_counter()
        call()
        times.append(time.perf_counter() - start)
    return min(times)


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
    seconds = best(call)
    print(f"baseline, numpy {np.__version__}: {what:<45}".ljust(62), f"{seconds:6.2f} s  {seconds / N * 1e9:6.1f} ns a trial")
