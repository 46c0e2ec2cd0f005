"""Photos to add, with one caption, and what is changed of a photo later."""

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext_lazy

from repairs.photos.models import Photo

MAX_FILES = 20
TYPES = "image/jpeg,image/png,image/webp"
"""A phone that takes photos in another format converts them to one of these."""


class FilesInput(forms.FileInput):
    allow_multiple_selected = True


class FilesField(forms.FileField):
    """Any number of uploaded files; its value is a list."""

    widget = FilesInput

    def clean(self, data, initial=None):
        files = data if isinstance(data, list | tuple) else [data]
        files = [file for file in files if file]
        if self.required and not files:
            raise ValidationError(self.error_messages["required"], code="required")
        if len(files) > MAX_FILES:
            raise ValidationError(
                gettext_lazy("Select at most %(most)s photos at once."),
                code="too_many",
                params={"most": MAX_FILES},
            )
        # What is in them is judged when they are read; an empty one is no picture.
        return files


class PhotosForm(forms.Form):
    photos = FilesField(
        label=gettext_lazy("Photos"),
        widget=FilesInput(attrs={"accept": TYPES}),
        error_messages={"required": gettext_lazy("Select at least one photo.")},
    )
    stage = forms.ChoiceField(choices=Photo.Stage.choices)
    caption = forms.CharField(
        label=gettext_lazy("Caption"),
        required=False,
        max_length=200,
        help_text=gettext_lazy("For all of these photos; it can be changed later."),
    )

    @property
    def files_sent(self):
        return self.cleaned_data["photos"]


class PhonePhotosForm(PhotosForm):
    """On a phone: the camera by one press, or photos taken before."""

    camera = FilesField(
        label=gettext_lazy("Take a photo"),
        required=False,
        widget=forms.FileInput(attrs={"accept": TYPES, "capture": "environment"}),
    )
    photos = FilesField(
        label=gettext_lazy("Or select photos"),
        required=False,
        widget=FilesInput(attrs={"accept": TYPES}),
    )
    caption = forms.CharField(
        label=gettext_lazy("Caption"), required=False, max_length=200
    )
    stage = None

    field_order = ["camera", "photos", "caption"]

    def clean(self):
        sent = self.cleaned_data
        if not self.errors and not (sent["camera"] or sent["photos"]):
            self.add_error("camera", gettext_lazy("Take or select at least one photo."))
        return sent

    @property
    def files_sent(self):
        return self.cleaned_data["camera"] + self.cleaned_data["photos"]


class PhotoForm(forms.ModelForm):
    class Meta:
        model = Photo
        fields = ["caption", "stage", "for_customer"]


class RemovePhotoForm(forms.Form):
    why = forms.CharField(
        label="Reason",
        max_length=200,
        help_text="For example: wrong job, blurred, shows a person.",
    )
