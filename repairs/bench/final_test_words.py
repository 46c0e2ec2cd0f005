"""Why a proof run is as long as it is, in plain sentences."""

from repairs.jobs.proof import unmended_passes


def chance(share: float) -> str:
    """A chance as people read it: 0.0496 → 5.0 %."""
    if share < 0.001:
        return "less than 0.1 %"
    return f"{share * 100:.1f} %"


def why_so_many(failed: int, tries: int, *, needed: int, was_seen: bool) -> str:
    """How many clean tries are needed, and what makes it so many."""
    many = "1 clean try is" if needed == 1 else f"{needed} clean tries are"
    passes = chance(unmended_passes(failed, tries, clean=needed))
    if not was_seen:
        return (
            f"Nobody here saw it fail, so {many} asked for, as after one failure in one"
            " try; a fault that was never seen can’t be proven gone by trying."
        )
    return (
        f"It failed {failed} of {tries} tries before the repair, so {many} needed: an"
        f" unmended device would pass as many with a chance of {passes}."
    )


def what_it_means(failed: int, tries: int, *, clean: int) -> str:
    """What the clean tries made so far are worth."""
    passed = chance(unmended_passes(failed, tries, clean=clean))
    made = "1 clean try" if clean == 1 else f"{clean} clean tries"
    return (
        f"{made} in a row so far: an unmended device would have passed with a chance of"
        f" {passed}."
    )
