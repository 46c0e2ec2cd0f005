from django import forms
from django.contrib.auth import authenticate, password_validation
from django.core.exceptions import ValidationError
from django.utils import timezone

from shopdesk.staff.models import Kind, User

LONG = 1000  # characters; nobody types more, and hashing takes time


def password_field(label, *, new=False, **kwargs):
    """A box for a password as it is: nothing is cut off, it may be pasted."""
    kind = "new-password" if new else "current-password"
    widget = forms.PasswordInput(attrs={"autocomplete": kind, "maxlength": False})
    return forms.CharField(
        label=label, strip=False, max_length=LONG, widget=widget, **kwargs
    )


class SignInNameField(forms.CharField):
    """A sign-in name, in small letters whatever was typed."""

    def __init__(self, **kwargs):
        kwargs = {"label": "Sign-in name", "max_length": 40} | kwargs
        super().__init__(**kwargs)

    def widget_attrs(self, widget):
        kept = {"autocomplete": "username", "autocapitalize": "none", "class": "w20"}
        return super().widget_attrs(widget) | kept | {"spellcheck": "false"}

    def to_python(self, value):
        return super().to_python(value).lower()


class SignInForm(forms.Form):
    username = SignInNameField()
    password = password_field("Password")

    def __init__(self, request, data=None):
        super().__init__(data)
        self.request = request
        self.user = None

    def clean(self):
        told = super().clean()
        if self.errors:
            return told
        user = authenticate(self.request, **told)
        if user is None:
            # One sentence for all: it tells nobody which names exist.
            raise ValidationError("This name and password do not fit together.")
        if user.must_change_password and user.passphrase_until < timezone.now():
            raise ValidationError(
                "This passphrase has run out. Ask the owner for a new one."
            )
        self.user = user
        return told


class NewPassword(forms.Form):
    """Two boxes for a password of one's own; `instance_for` says whose it will be."""

    password = password_field(
        "New password",
        new=True,
        help_text="At least 15 characters: four or five words are easiest to keep.",
    )
    again = password_field("The same once more", new=True)

    def owner_of_password(self):
        return User(
            username=self.cleaned_data.get("username", ""),
            name=self.cleaned_data.get("name", ""),
        )

    def clean(self):
        told = super().clean()
        password = told.get("password")
        if password:
            try:
                password_validation.validate_password(
                    password, self.owner_of_password()
                )
            except ValidationError as wrong:
                self.add_error("password", wrong)
            if "again" in told and told["again"] != password:
                self.add_error("again", "The two are not the same.")
        return told


class PasswordForm(NewPassword):
    """Another password for oneself."""

    current = password_field("Current password")
    field_order = ["current", "password", "again"]

    def __init__(self, user, data=None):
        super().__init__(data)
        self.user = user
        if user.must_change_password:
            self.fields["current"].label = "The passphrase you were given"

    def owner_of_password(self):
        return self.user

    def clean_current(self):
        current = self.cleaned_data["current"]
        if not self.user.check_password(current):
            raise ValidationError("This is not your current password.")
        return current

    def clean(self):
        told = super().clean()
        if told.get("password") and told["password"] == told.get("current"):
            self.add_error("password", "This is the one you have now.")
        return told


class SetUpForm(NewPassword):
    """The shop's first day."""

    shop_name = forms.CharField(
        label="Name of the shop",
        max_length=80,
        help_text="As it stands on papers; it can be changed later.",
    )
    name = forms.CharField(
        label="Your name",
        max_length=80,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    username = SignInNameField(
        validators=User._meta.get_field("username").validators,
        help_text="What you will type to sign in, such as your first name.",
    )
    field_order = ["shop_name", "name", "username", "password", "again"]


class AddForm(forms.ModelForm):
    username = SignInNameField(
        validators=User._meta.get_field("username").validators,
        help_text="What they type to sign in, such as the first name.",
    )

    class Meta:
        model = User
        fields = ["name", "username", "kind"]
        widgets = {"kind": forms.RadioSelect}


class PersonForm(forms.Form):
    name = forms.CharField(max_length=80)
    kind = forms.ChoiceField(choices=Kind.choices, widget=forms.RadioSelect)
    is_active = forms.BooleanField(
        required=False,
        label="May sign in",
        help_text="Without the tick they are out at once, wherever they are signed in.",
    )
