"""The photos of a job, for staff: add, look at, describe, remove; the link for a phone.

Their files are answered here, too, to no one else.
"""

from django.conf import settings
from django.contrib import messages
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.translation import ngettext
from django.views.decorators.http import require_GET, require_POST
from django.views.decorators.vary import vary_on_headers

from repairs.jobs.models import Job
from repairs.photos import actions, forms
from repairs.photos.models import Photo, PhotoFile, PhotoLink, usual_stage
from repairs.photos.picture_response import file_response
from repairs.photos.uploading import new_pictures
from shopdesk.look.forms import saved
from shopdesk.sent_forms.attempts import attempt
from shopdesk.sent_forms.once import act_once
from shopdesk.staff.link_pages import is_local_host, own_address
from shopdesk.stamp import Stamp


def _job(pk):
    return get_object_or_404(Job.objects.for_list(), pk=pk)


def _photo(pk):
    found = Photo.objects.shown().select_related("job__customer", "job__device__model")
    return get_object_or_404(found.select_related("by"), pk=pk)


@vary_on_headers("HX-Request")
def for_job(request, pk):
    """Show the photos of a job, and add some; htmx asks for the photos alone."""
    job = _job(pk)
    if request.htmx:
        photos = {"photos": job.photos.shown()}
        return render(request, "repairs/photos/_grid.html", photos)
    form = forms.PhotosForm(
        request.POST or None,
        request.FILES or None,
        initial={"stage": usual_stage(job)},
    )
    if request.method == "POST" and store_sent(request, form, job):
        return redirect("photos:for_job", pk)
    return _page_of_job(request, job, form=form)


def store_sent(request, form, job, *, stage="", link=None) -> bool:
    """Store the good files of a sent form; return whether there are any.

    Each bad one is named, by a message if others are stored, else in the form.
    """
    if not form.is_valid():
        return False
    pictures, problems = new_pictures(form.files_sent)
    if pictures:
        done = attempt(
            request,
            form,
            actions.add_photos,
            job,
            pictures,
            stage=stage or form.cleaned_data["stage"],
            caption=form.cleaned_data["caption"],
            link=link,
            stamp=Stamp.of(request),
        )
        if done:
            _tell(request, added=len(done.result), sent=len(pictures))
            for problem in problems:
                messages.error(request, problem)
            return True
    for problem in problems:
        form.add_error("photos", problem)
    return False


def _tell(request, *, added, sent):
    if added:
        messages.success(
            request,
            ngettext("{count} photo added.", "{count} photos added.", added).format(
                count=added
            ),
        )
    if known := sent - added:
        messages.info(
            request,
            ngettext(
                "{count} photo was added before.",
                "{count} photos were added before.",
                known,
            ).format(count=known),
        )


def _page_of_job(request, job, *, form=None, **made):
    facts = {
        "job": job,
        "photos": job.photos.shown(),
        "form": form or forms.PhotosForm(initial={"stage": usual_stage(job)}),
        "links": links_of(job, at=request.latest),
        "minutes": actions.LINK_MINUTES,
    }
    return render(request, "repairs/photos/for_job.html", facts | made)


def links_of(job, *, at):
    """Return the valid links of the job."""
    return PhotoLink.objects.working(at).filter(job=job).select_related("made_by")


@require_POST
@vary_on_headers("HX-Request")
def create_link(request, pk):
    """Create a link, and show it in the response to this form only.

    A redirect would have to store the token somewhere.
    """
    job = _job(pk)
    with act_once(request):
        _, token = actions.create_link(job, stamp=Stamp.of(request))
    path = reverse("photo_link:page", args=[token])
    made = {
        "address": own_address(request, path),
        "is_local": not settings.PUBLIC_URL and is_local_host(request),
    }
    if not request.htmx:
        return _page_of_job(request, job, **made)
    facts = {"job": job, "minutes": actions.LINK_MINUTES}
    facts["links"] = links_of(job, at=request.latest)
    return render(request, "repairs/photos/_phone.html", facts | made)


@require_POST
def revoke_link(request, pk):
    """Revoke the link."""
    link = get_object_or_404(PhotoLink, pk=pk)
    attempt(request, None, actions.revoke_link, link, stamp=Stamp.of(request))
    messages.success(request, "Link revoked.")
    return redirect("photos:for_job", link.job_id)


def photo(request, pk):
    """Show one photo with those before and after it; change what is said of it."""
    photo = _photo(pk)
    form = forms.PhotoForm(request.POST or None, instance=photo)
    if request.method == "POST" and saved(request, form, message="Photo saved."):
        return redirect(photo)
    return _page_of_photo(request, photo, form=form)


@require_POST
def remove(request, pk):
    """Remove a photo for good."""
    photo = _photo(pk)
    form = forms.RemovePhotoForm(request.POST, prefix="remove")
    if form.is_valid() and attempt(
        request,
        form,
        actions.remove_photo,
        photo,
        why=form.cleaned_data["why"],
        stamp=Stamp.of(request),
    ):
        messages.success(request, "Photo removed.")
        return redirect("photos:for_job", photo.job_id)
    return _page_of_photo(request, photo, remove_form=form)


def _page_of_photo(request, photo, *, form=None, remove_form=None):
    pks = list(photo.job.photos.shown().values_list("pk", flat=True))
    at = pks.index(photo.pk)
    remove_form = remove_form or forms.RemovePhotoForm(prefix="remove")
    form = form or forms.PhotoForm(instance=photo)
    facts = {
        "photo": photo,
        "job": photo.job,
        "number": at + 1,
        "count": len(pks),
        "previous": pks[at - 1] if at else None,
        "next": pks[at + 1] if at + 1 < len(pks) else None,
        "form": form,
        "remove_form": remove_form,
        "forms": [remove_form],
    }
    return render(request, "repairs/photos/photo.html", facts)


@require_GET
def picture(request, pk):
    """Answer with the picture."""
    return file_response(PhotoFile.objects.filter(photo_id=pk), "picture")


@require_GET
def thumbnail(request, pk):
    """Answer with the thumbnail."""
    return file_response(PhotoFile.objects.filter(photo_id=pk), "thumbnail")
