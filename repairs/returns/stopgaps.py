"""How stopgaps hold: whom to ask, and what they said."""

from datetime import date, timedelta

from django.db import transaction

from repairs.jobs.models import Repair, StopgapAnswer
from shopdesk.errors import StaleError
from shopdesk.stamp import Stamp

NO_ANSWER_AGAIN = timedelta(days=7)
"""Who was not reached is asked again after that; common practice, no source."""


@transaction.atomic
def record_answer(
    repair: Repair, *, answer: str, ask_on: date | None, stamp: Stamp
) -> StopgapAnswer:
    """Note what the customer said; they are asked again on `ask_on`, if given.

    Raises StaleError if the repair is not to be asked about: someone else did.
    """
    due = Repair.objects.filter(pk=repair.pk).to_ask_about(on=stamp.on)
    repair = due.select_for_update(of=("self",)).first()
    if repair is None:
        raise StaleError("Someone else has recorded the answer. Nothing was changed.")
    if answer == StopgapAnswer.Answer.NO_ANSWER and ask_on is None:
        ask_on = stamp.on + NO_ANSWER_AGAIN
    repair.ask_on = ask_on
    repair.save(update_fields=["ask_on"])
    return repair.stopgap_answers.create(answer=answer, by=stamp.by, asked_on=stamp.on)
