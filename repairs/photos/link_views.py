"""What a phone opens by its link: it adds photos to one job, and sees only these."""

from django.http import HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse

from repairs.photos.forms import PhonePhotosForm
from repairs.photos.models import PhotoFile, PhotoLink, usual_stage
from repairs.photos.picture_response import file_response
from repairs.photos.views import store_sent
from shopdesk.staff.link_pages import PAGE_LIMIT, LinkPages
from shopdesk.staff.rate_limit import RateLimit

THUMBNAIL = "thumbnail"


def _find(request, token):
    found = PhotoLink.objects.opened_by(token, at=request.latest)
    return found.select_related("job", "made_by").first()


by_link = LinkPages(
    _find,
    sent=("photos", RateLimit(20)),
    limits={"": PAGE_LIMIT, THUMBNAIL: RateLimit(600)},
)


@by_link
def page(request, link, token):
    """Add photos to the job of the link, and show those that it added."""
    form = PhonePhotosForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and store_sent(
        request, form, link.job, stage=usual_stage(link.job), link=link
    ):
        address = reverse("photo_link:page", args=[token])
        return HttpResponseRedirect(address, status=303)
    facts = {"link": link, "token": token, "form": form}
    facts["photos"] = link.photos.shown()
    return render(request, "repairs/photos/phone.html", facts)


@by_link(counted_as=THUMBNAIL)
def thumbnail(request, link, token, pk):
    """Answer with the thumbnail of a photo that this link added."""
    files = PhotoFile.objects.filter(photo_id=pk, photo__link=link)
    return file_response(files, THUMBNAIL)
