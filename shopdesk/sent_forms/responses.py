"""What was the response to a form? Stored encrypted with the form's own key."""

import base64
import json

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect

from shopdesk.encryption import decrypt, encrypt
from shopdesk.sent_forms.models import SentForm
from shopdesk.sent_forms.once import hash_of, key_of

MAX_BODY = 1_000_000  # bytes; a longer response is not kept


def keep_response(request: HttpRequest, response: HttpResponse) -> None:
    """Store the response to a form that has been handled."""
    key = request.used_form_key
    if response.streaming or len(response.content) > MAX_BODY:
        return
    shown = messages.get_messages(request)
    was_shown = shown.used  # reading them here does not count
    texts = [(message.level, str(message)) for message in shown]
    shown.used = was_shown
    facts = {
        "status": response.status_code,
        "headers": [
            (name, value)
            for name, value in response.items()
            if name.lower() not in ("content-length", "vary")
        ],
        "body": base64.b64encode(response.content).decode(),
        "messages": texts,
    }
    encrypted = encrypt(json.dumps(facts), **_encryption(key))
    SentForm.objects.filter(key_hash=hash_of(key)).update(response=encrypted)


def kept_response(request: HttpRequest, sent: SentForm) -> HttpResponse | None:
    """Return the stored response, with its messages; None if there is none."""
    if sent.response is None:
        return None
    text = decrypt(bytes(sent.response), **_encryption(key_of(request)))
    facts = json.loads(text)
    headers = dict(facts["headers"])
    if "Location" in headers:
        response = HttpResponseRedirect(headers["Location"], status=facts["status"])
    else:
        response = HttpResponse(base64.b64decode(facts["body"]), status=facts["status"])
    for name, value in headers.items():
        response[name] = value
    for level, text in facts["messages"]:
        messages.add_message(request, level, text)
    return response


def _encryption(key: str) -> dict[str, str]:
    return {"purpose": "response", "record": hash_of(key), "secret": key}
