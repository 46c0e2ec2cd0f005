"""How does a view call an action, and how is a refusal shown?"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.contrib import messages

from shopdesk.errors import RefusedError
from shopdesk.sent_forms.once import act_once


@dataclass(frozen=True)
class Attempt:
    """The result of an action; true if it was done."""

    is_done: bool
    result: Any = None

    def __bool__(self) -> bool:
        return self.is_done


def attempt(request, form, action: Callable, *args, field: str | None = None, **facts):
    """Call `action` and return an `Attempt`; show a refusal where the user looks.

    That is beside `field` of the form, above all its fields, or as a message if `form`
    is None. The entries stay in the form.
    """
    try:
        with act_once(request):
            return Attempt(True, action(*args, **facts))
    except RefusedError as refusal:
        if form is None:
            messages.error(request, str(refusal))
        else:
            form.add_error(field, str(refusal))
        return Attempt(False)
