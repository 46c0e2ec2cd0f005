"""The loop of a general survival library over the pairs, for a Python that has it.

    PYTHON -m tests.benchmarks.survival FILE.npz

Asks only for numpy and lifelines, which pins an older pandas than ours and so has a
place of its own. The file holds the counts of repairs that left the watch: `left` and
`back`, a row a pair, a column a day. Prints the seconds each loop took, as JSON.
"""

import json
import sys
import time

import numpy as np

MISSING = "this Python has no lifelines: install it in a place of its own"


def main() -> None:
    try:
        import lifelines
    except ImportError:
        print(json.dumps({"missing": MISSING}))
        return
    counts = np.load(sys.argv[1])
    left, back = counts["left"], counts["back"]
    days = np.arange(left.shape[1])
    pairs = [
        (
            np.concatenate([np.repeat(days, came), np.repeat(days, all_ - came)]),
            np.repeat([1, 0], [came.sum(), (all_ - came).sum()]),
        )
        for all_, came in zip(left, back, strict=True)
    ]
    took = {"version": lifelines.__version__, "pairs": len(pairs)}
    for name, fitter in (
        ("kaplan_meier", lifelines.KaplanMeierFitter),
        ("nelson_aalen", lifelines.NelsonAalenFitter),
    ):
        began = time.perf_counter()
        for t, d in pairs:
            fitter().fit(t, d)
        took[name] = time.perf_counter() - began
    print(json.dumps(took))


if __name__ == "__main__":
    main()
