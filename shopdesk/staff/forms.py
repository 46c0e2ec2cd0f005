from contextlib import contextmanager

from django import forms
from django.conf import settings
from django.contrib.auth import authenticate, password_validation
from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext, gettext_lazy

from shopdesk.errors import RefusedError
from shopdesk.recording.models import Action
from shopdesk.recording.writing import record_event
from shopdesk.screen_language import default_language, own_name
from shopdesk.staff import second_factor
from shopdesk.staff.models import User
from shopdesk.staff.rate_limit import FailureCount, wait_text

MAX_LENGTH = 1000  # characters; longer ones would take long to hash


def password_field(label, *, new=False, **kwargs):
    """A password field: nothing is cut off, pasting is allowed."""
    kind = "new-password" if new else "current-password"
    widget = forms.PasswordInput(attrs={"autocomplete": kind, "maxlength": False})
    return forms.CharField(
        label=label, strip=False, max_length=MAX_LENGTH, widget=widget, **kwargs
    )


class SignInNameField(forms.CharField):
    """A sign-in name, converted to lower case."""

    def __init__(self, **kwargs):
        kwargs = {"label": gettext_lazy("Sign-in name"), "max_length": 40} | kwargs
        super().__init__(**kwargs)

    def widget_attrs(self, widget):
        kept = {"autocomplete": "username", "autocapitalize": "none", "class": "w20"}
        return super().widget_attrs(widget) | kept | {"spellcheck": "false"}

    def to_python(self, value):
        return super().to_python(value).lower()


@contextmanager
def counted_failures(user):
    """Count a refusal inside; refuse at once after too many.

    So a guess is not checked any more, and the session goes on.
    """
    failures = FailureCount.of_secrets(user)
    if wait := failures.begin(at=timezone.now()):
        raise ValidationError(
            gettext("Too many wrong attempts. Wait %(wait)s and try again.")
            % {"wait": wait_text(wait)}
        )
    try:
        yield
    except ValidationError:
        record_event(Action.WRONG_SECRET, user, by=user)
        raise
    failures.succeed()


class SignInForm(forms.Form):
    username = SignInNameField()
    password = password_field(gettext_lazy("Password"))

    def __init__(self, request, data=None):
        super().__init__(data)
        self.request = request
        self.user = None

    def clean(self):
        entered = super().clean()
        if self.errors:
            return entered
        user = authenticate(self.request, **entered)
        if user is None:
            # One message for all causes: it does not reveal which names exist.
            raise ValidationError(gettext("Wrong sign-in name or password."))
        if user.must_change_password and user.passphrase_until < self.request.latest:
            raise ValidationError(
                gettext("This passphrase has expired. Ask the owner for a new one.")
            )
        self.user = user
        return entered


class NewPasswordForm(forms.Form):
    """A new password, typed twice; `owner_of_password` is the user it belongs to."""

    password = password_field(
        gettext_lazy("New password"),
        new=True,
        help_text=gettext_lazy(
            "At least 15 characters. Four or five words are easiest to remember."
        ),
    )
    again = password_field(gettext_lazy("Repeat password"), new=True)

    def owner_of_password(self):
        return User(
            username=self.cleaned_data.get("username", ""),
            name=self.cleaned_data.get("name", ""),
        )

    def clean(self):
        entered = super().clean()
        password = entered.get("password")
        if password:
            try:
                password_validation.validate_password(
                    password, self.owner_of_password()
                )
            except ValidationError as wrong:
                self.add_error("password", wrong)
            if "again" in entered and entered["again"] != password:
                self.add_error("again", gettext("The passwords do not match."))
        return entered


class PasswordForm(NewPasswordForm):
    """Changes one's own password."""

    current = password_field(gettext_lazy("Current password"))
    field_order = ["current", "password", "again"]

    def __init__(self, user, data=None):
        super().__init__(data)
        self.user = user
        if user.must_change_password:
            self.fields["current"].label = gettext("Passphrase you were given")

    def owner_of_password(self):
        return self.user

    def clean_current(self):
        current = self.cleaned_data["current"]
        with counted_failures(self.user):
            if not self.user.check_password(current):
                raise ValidationError(gettext("This is not your current password."))
        return current

    def clean(self):
        entered = super().clean()
        if entered.get("password") and entered["password"] == entered.get("current"):
            self.add_error("password", gettext("Choose a different password."))
        return entered


def code_field(label, **kwargs):
    """A field for a one-time code, which phones offer to fill in."""
    kept = {"autocomplete": "one-time-code", "autocapitalize": "none"}
    kept |= {"class": "code w12", "spellcheck": "false"}
    widget = forms.TextInput(attrs=kept)
    return forms.CharField(label=label, max_length=60, widget=widget, **kwargs)


class SignInCodeForm(forms.Form):
    """The second step of signing in."""

    code = code_field(
        gettext_lazy("Code"),
        help_text=gettext_lazy(
            "6 digits from your app, or one of your recovery codes."
        ),
    )

    def __init__(self, user, data=None):
        super().__init__(data)
        self.user = user

    def clean_code(self):
        code = self.cleaned_data["code"]
        with counted_failures(self.user):
            check_code(self.user, code)
        return code


def check_code(user, code):
    """Raise unless the code is right; it is then used up."""
    try:
        is_right = second_factor.accept_code(user, code, at=timezone.now())
    except RefusedError as refusal:
        raise ValidationError(str(refusal)) from None
    if not is_right:
        raise ValidationError(
            gettext(
                "This code is wrong or was used before."
                " Wait for the next one in your app."
            )
        )


class ConfirmForm(forms.Form):
    """The user's password once more, or a code of their second factor."""

    password = password_field(gettext_lazy("Password"))
    code = code_field(gettext_lazy("Or a code from your app"), required=False)

    def __init__(self, user, data=None):
        super().__init__(data)
        self.user = user
        if user.has_second_factor:
            self.fields["password"].required = False
        else:
            del self.fields["code"]

    def clean(self):
        entered = super().clean()
        password, code = entered.get("password"), entered.get("code")
        if self.errors:
            return entered
        if not password and not code:
            self.add_error("password", gettext("Enter your password or a code."))
            return entered
        try:
            with counted_failures(self.user):
                if password and not self.user.check_password(password):
                    raise ValidationError(gettext("This is not your password."))
                if not password:
                    check_code(self.user, code)
        except ValidationError as wrong:
            self.add_error("password" if password else "code", wrong)
        return entered


class ActivateForm(forms.Form):
    """The first code of an app that was just set up."""

    code = code_field(
        gettext_lazy("Code"),
        help_text=gettext_lazy("The 6 digits that the app shows now."),
    )


class SetUpForm(NewPasswordForm):
    """The name of the shop and its first owner."""

    shop_name = forms.CharField(
        label=gettext_lazy("Name of the shop"),
        max_length=80,
        help_text=gettext_lazy("Printed on documents. It can be changed later."),
    )
    name = forms.CharField(
        label=gettext_lazy("Your name"),
        max_length=80,
        widget=forms.TextInput(attrs={"autocomplete": "name"}),
    )
    username = SignInNameField(
        validators=User._meta.get_field("username").validators,
        help_text=gettext_lazy(
            "What you type to sign in. For example: your first name."
        ),
    )
    field_order = ["shop_name", "name", "username", "password", "again"]


class AddForm(forms.ModelForm):
    username = SignInNameField(
        validators=User._meta.get_field("username").validators,
        help_text=gettext_lazy(
            "What the person types to sign in. For example: the first name."
        ),
    )

    class Meta:
        model = User
        fields = ["name", "username", "role"]
        widgets = {"role": forms.RadioSelect}


class LanguageForm(forms.ModelForm):
    """The language of a user's own screens."""

    class Meta:
        model = User
        fields = ["language"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["language"] = forms.ChoiceField(
            label=gettext("Language"),
            required=False,
            choices=self._choices(),
            widget=forms.RadioSelect,
            help_text=gettext(
                "Of all pages for staff. Documents and emails to customers stay in"
                " the language that the shop settings say."
            ),
        )

    def _choices(self):
        default = gettext("The shop’s default: %(language)s")
        yield "", default % {"language": own_name(default_language())}
        for language in settings.SCREEN_LANGUAGES:
            yield language, own_name(language)


class PersonForm(forms.ModelForm):
    class Meta:
        model = User
        fields = ["name", "role", "is_active"]
        widgets = {"role": forms.RadioSelect}
        labels = {"is_active": gettext_lazy("Active")}
        help_texts = {
            "is_active": gettext_lazy(
                "If unticked, the person is signed out at once and cannot sign in."
            )
        }
