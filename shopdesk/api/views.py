"""The owner's pages of the API: its tokens, and what it answers."""

from functools import cache

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import gettext
from django.views.decorators.http import require_POST, require_safe

from shopdesk.api import actions
from shopdesk.api.endpoints import api
from shopdesk.api.forms import TokenForm
from shopdesk.api.models import ApiToken
from shopdesk.api.reference import Endpoint, endpoints
from shopdesk.api.tables import ApiTokenTable
from shopdesk.look.lists import list_page
from shopdesk.sent_forms.attempts import attempt
from shopdesk.staff.link_pages import public_address
from shopdesk.stamp import Stamp

PREFIX = "/api/v1/"


@cache
def openapi() -> dict:
    """Return the OpenAPI document of the API, which follows from code alone."""
    return api.get_openapi_schema(path_prefix=PREFIX)


@cache
def _endpoints() -> list[Endpoint]:
    return endpoints(openapi())


@login_not_required
@require_safe
def document(request):
    """The OpenAPI document, for programs; it tells nothing of the shop."""
    return JsonResponse(openapi())


@require_safe
def reference(request):
    """What the API answers, for people."""
    facts = {
        "endpoints": _endpoints(),
        "description": openapi()["info"]["description"],
        "address": public_address(request, PREFIX),
        "document": public_address(request, reverse("api_document")),
    }
    return render(request, "shopdesk/api/reference.html", facts)


@require_safe
def tokens(request):
    rows = ApiToken.objects.for_list()
    table = ApiTokenTable(rows, at=request.latest, request=request)
    return list_page(request, "shopdesk/api/tokens.html", table)


def create(request):
    """Create a token, and show it in the response to this form only."""
    form = TokenForm(request.POST or None)
    if form.is_valid():
        facts = form.cleaned_data | {"stamp": Stamp.of(request)}
        if created := attempt(
            request, form, actions.create_token, field="name", **facts
        ):
            token, text = created.result
            facts = {"token": token, "text": text}
            facts["address"] = public_address(request, PREFIX)
            return render(request, "shopdesk/api/created.html", facts)
    return render(request, "shopdesk/api/create.html", {"form": form})


@require_POST
def revoke(request, pk):
    token = get_object_or_404(ApiToken, pk=pk)
    stamp = Stamp.of(request)
    if attempt(request, None, actions.revoke_token, token, stamp=stamp):
        messages.success(request, gettext("%(token)s revoked.") % {"token": token})
    return redirect("api_tokens:all")
