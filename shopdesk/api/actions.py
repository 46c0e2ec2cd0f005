"""Create and revoke tokens of the API, and note that one was used."""

from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q
from django.utils.translation import gettext

from shopdesk.api.models import ApiToken
from shopdesk.errors import RefusedError
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.staff.link_tokens import hash_of, new_token
from shopdesk.stamp import Stamp

NOTED_EVERY = timedelta(minutes=5)
"""So that not every request changes the row of its token."""


def create_token(
    *,
    name: str,
    days: int,
    shows_costs: bool,
    shows_personal_data: bool,
    stamp: Stamp,
) -> tuple[ApiToken, str]:
    """Create a token; the second value is its text, which is not stored."""
    text = new_token()
    token = ApiToken(
        name=name,
        token_hash=hash_of(text),
        shows_costs=shows_costs,
        shows_personal_data=shows_personal_data,
        works_until=stamp.at + timedelta(days=days),
        created_at=stamp.at,
        created_by=stamp.by,
    )
    try:
        with transaction.atomic():
            token.save()
    except IntegrityError:
        raise RefusedError(gettext("There is a token of this name now.")) from None
    return token, text


@transaction.atomic
def revoke_token(token: ApiToken, *, stamp: Stamp) -> None:
    """End a token for good; raise if it has ended already."""
    token = ApiToken.objects.select_for_update(of=["self"]).get(pk=token.pk)
    if token.revoked_at is not None:
        raise RefusedError(gettext("%(token)s is already revoked.") % {"token": token})
    token.revoked_at, token.revoked_by = stamp.at, stamp.by
    token.save(update_fields=["revoked_at", "revoked_by"])


@transaction.atomic
def note_use(token: ApiToken, *, at: datetime, midnight: datetime) -> None:
    """Note when the token was last used; its first use on a day is an event.

    Of two requests at once, one changes the row.
    """
    row = ApiToken.objects.filter(pk=token.pk)
    is_first = Q(last_used_at=None) | Q(last_used_at__lt=midnight)
    if row.filter(is_first).update(last_used_at=at):
        record_event(Action.API_USED, token)
    elif token.last_used_at is None or token.last_used_at < at - NOTED_EVERY:
        row.update(last_used_at=at)
