"""What the trail learns only from Django's signals; nothing else here uses them.

Cascades delete rows, and many-to-many fields change them, without a call of the model;
Django alone knows when a person signs in or out.
"""

from django.apps import apps
from django.contrib.auth import get_user_model
from django.contrib.auth.signals import (
    user_logged_in,
    user_logged_out,
    user_login_failed,
)
from django.db.models.signals import m2m_changed, post_delete

from shopdesk.recording.models import Action
from shopdesk.recording.recorded import Recorded, changed_entries
from shopdesk.recording.writing import record_event, write


def connect() -> None:
    """Listen to the recorded models, and to sign-ins."""
    for model in apps.get_models():
        if issubclass(model, Recorded):
            post_delete.connect(_deleted, sender=model)
            for field in model._meta.local_many_to_many:
                m2m_changed.connect(_linked, sender=field.remote_field.through)
    user_logged_in.connect(_signed_in)
    user_logged_out.connect(_signed_out)
    user_login_failed.connect(_sign_in_failed)


def _deleted(sender, instance, **kwargs):
    fields = [f for f in sender.recorded_fields() if f.attname in instance.__dict__]
    values = instance.recorded_values(fields) or {}
    instance.write_entry(
        Action.DELETED,
        {name: [old, None] for name, old in values.items() if old not in (None, "")},
    )


def _linked(sender, instance, action, reverse, model, pk_set, **kwargs):
    """Write what was added or removed on the record that has the field."""
    owner = model if reverse else type(instance)
    field = next(
        f for f in owner._meta.many_to_many if f.remote_field.through is sender
    )
    if action == "post_add":
        others, is_new = pk_set, True
    elif action in ("pre_remove", "pre_clear"):
        name = field.remote_field.get_accessor_name() if reverse else field.name
        there = set(getattr(instance, name).values_list("pk", flat=True))
        others, is_new = there if pk_set is None else there & pk_set, False
    else:
        return
    links = {instance.pk: others}
    if reverse:
        links = {pk: [instance.pk] for pk in others}
    elif field.remote_field.symmetrical:
        links |= {pk: [instance.pk] for pk in others}
    write(
        changed_entries(
            owner,
            {
                pk: {field.name: [[], sorted(pks)] if is_new else [sorted(pks), []]}
                for pk, pks in links.items()
                if pks
            },
        )
    )


def _signed_in(sender, request, user, **kwargs):
    record_event(Action.SIGNED_IN, user, by=user)


def _signed_out(sender, request, user, **kwargs):
    if user is not None:
        record_event(Action.SIGNED_OUT, user, by=user)


def _sign_in_failed(sender, credentials, request=None, **kwargs):
    """Record the account, but no name that is none: it may be a mistyped password."""
    if getattr(request, "axes_locked_out", False):
        return  # Refused unread: else anyone could fill the trail.
    name = credentials.get("username") or ""
    user = get_user_model().objects.filter(username=name).first()
    record_event(Action.SIGN_IN_FAILED, user)
