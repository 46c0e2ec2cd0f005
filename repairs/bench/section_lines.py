"""The sections of a job page: which are open, and each in one line while folded."""

from repairs.bench import sections
from shopdesk.look.shop_formats import day, moment


class SectionModes:
    """How each section of the page is shown; one with a refused form is open."""

    def __init__(self, page):
        self.page = page

    def __getitem__(self, name: str) -> str:
        page = self.page
        if name not in sections.NAMES:
            raise KeyError(name)
        if name in page.refused:
            return sections.OPEN
        return sections.section_mode(
            name,
            state=page.job.state,
            control=page.next_step.control,
            is_empty=page.is_empty(name),
        )


class SectionLines:
    """Each section in one line."""

    def __init__(self, page):
        self.page = page

    @property
    def findings(self) -> str:
        job, texts = self.page.job, []
        if job.verified_tries:
            texts.append(
                f"failed {job.verified_failures} of {job.verified_tries} tries"
            )
        texts += [str(symptom) for symptom in self.page.symptoms_seen]
        return " · ".join(texts or ["not verified yet"])

    @property
    def faults(self) -> str:
        repairs = [panel.repair for panel in self.page.repairs]
        lines = [
            f"{one.fault.name} – {one.fix.name if one.fix else 'no fix selected'}"
            for one in repairs
        ]
        return " · ".join(lines or ["no diagnosis yet"])

    @property
    def readings(self) -> str:
        if not self.page.job.has_readings:
            return "none yet"
        points = self.page.measured
        failed = sum(point.has_failed for point in points)
        count = f"{len(points)} test point{'' if len(points) == 1 else 's'}"
        return f"{count}, {failed} failed" if failed else count

    @property
    def parts(self) -> str:
        used = [
            u for panel in self.page.with_parts for u in panel.repair.parts_used.all()
        ]
        lines = [f"{u.quantity} × {u.part.number}" for u in used]
        lines += [
            f"{one.remaining} × {one.part.number} reserved"
            for one in self.page.reservations
        ]
        lines += [f"{one.quantity} × {one.name}" for one in self.page.unstocked_parts]
        return " · ".join(lines) or "none"

    @property
    def final_test(self) -> str:
        to_go = max((panel.to_go for panel in self.page.to_be_fixed), default=0)
        if to_go:
            return f"{to_go} pass{'' if to_go == 1 else 'es'} still needed"
        return "passed" if self.page.to_be_fixed else "not needed"

    @property
    def close(self) -> str:
        job = self.page.job
        return job.get_outcome_display() if job.outcome else "not closed"

    @property
    def history(self) -> str:
        last = self.page.transitions[-1] if self.page.transitions else None
        if last is None:
            return f"booked in {day(self.page.job.booked_in_on)}"
        return f"{last.get_to_state_display()} since {moment(last.made_at)}"
