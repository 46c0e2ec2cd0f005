"""The outbox: emails that wait, failed, were sent or discarded."""

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_POST

from shopdesk.look.lists import list_page
from shopdesk.mail.actions import is_mail_configured
from shopdesk.mail.forms import StatusForm
from shopdesk.mail.models import Attachment, Email
from shopdesk.mail.tables import EmailTable
from shopdesk.sent_forms.attempts import attempt


@require_GET
def outbox(request):
    form = StatusForm(request.GET)
    return list_page(
        request,
        "shopdesk/mail/outbox.html",
        EmailTable(form.emails().for_list()),
        form=form,
        is_mail_configured=is_mail_configured(),
        failed_count=Email.objects.failed().count(),
    )


@require_GET
def email(request, pk):
    email = get_object_or_404(Email.objects.select_related("written_by"), pk=pk)
    return render(
        request,
        "shopdesk/mail/email.html",
        {
            "email": email,
            "attachments": email.attachments.defer("file"),
            "is_mail_configured": is_mail_configured(),
        },
    )


@require_GET
def attachment(request, pk):
    """Return an attachment as a download, never shown as a page of this site."""
    file = get_object_or_404(Attachment, pk=pk)
    answer = HttpResponse(bytes(file.file), content_type=file.media_type)
    answer.headers["Content-Disposition"] = f'attachment; filename="papers-{pk}"'
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer


@require_POST
def resend(request, pk):
    email = get_object_or_404(Email, pk=pk)
    if attempt(request, None, email.resend, timezone.now()).result:
        messages.success(request, gettext("Queued for sending."))
    else:
        messages.error(
            request,
            gettext("This email is already %(status)s.")
            % {"status": gettext(email.status)},
        )
    return redirect(email)


@require_POST
def discard(request, pk):
    email = get_object_or_404(Email, pk=pk)
    if attempt(request, None, email.discard, timezone.now()).result:
        messages.success(request, gettext("Discarded."))
    else:
        messages.error(
            request,
            gettext("This email is already %(status)s.")
            % {"status": gettext(email.status)},
        )
    return redirect(email)
