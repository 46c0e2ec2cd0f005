"""The outbox: what waits, what is stuck, what was sent."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST
from django_tables2 import RequestConfig

from shopdesk.mail.actions import is_mail_configured
from shopdesk.mail.forms import WhichForm
from shopdesk.mail.models import Attachment, Email
from shopdesk.mail.tables import LetterTable


@require_GET
def outbox(request):
    form = WhichForm(request.GET)
    table = LetterTable(form.letters().for_list())
    return render(
        request,
        "shopdesk/mail/outbox.html",
        {
            "form": form,
            "table": RequestConfig(request).configure(table),
            "is_mail_configured": is_mail_configured(),
            "stuck": Email.objects.stuck().count(),
        },
    )


@require_GET
def letter(request, pk):
    letter = get_object_or_404(Email.objects.select_related("written_by"), pk=pk)
    return render(
        request,
        "shopdesk/mail/letter.html",
        {
            "letter": letter,
            "attachments": letter.attachments.defer("file"),
            "is_mail_configured": is_mail_configured(),
        },
    )


@require_GET
def attachment(request, pk):
    """A file as it goes out. Never shown as a page of ours."""
    one = get_object_or_404(Attachment, pk=pk)
    answer = HttpResponse(bytes(one.file), content_type=one.kind)
    answer.headers["Content-Disposition"] = f'attachment; filename="papers-{one.pk}"'
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer


@require_POST
def resend(request, pk):
    letter = get_object_or_404(Email, pk=pk)
    if letter.resend(timezone.now()):
        messages.success(request, "It goes out with the next post.")
    else:
        messages.error(request, f"This letter is {letter.standing} already.")
    return redirect(letter)


@require_POST
def drop(request, pk):
    letter = get_object_or_404(Email, pk=pk)
    if letter.drop(timezone.now()):
        messages.success(request, "It will not be sent.")
    else:
        messages.error(request, f"This letter is {letter.standing} already.")
    return redirect(letter)
