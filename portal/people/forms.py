"""Giving a role, bringing in a person, one's own account and password."""

from typing import Any

from django import forms
from django.contrib.auth.forms import PasswordChangeForm, UsernameField
from django.contrib.auth.password_validation import password_validators_help_texts
from django.core.exceptions import ValidationError

from portal.models import Role, User
from portal.people.actions import NAME_TAKEN
from portal.people.queries import person_named

EMAIL_WRONG = "An address has the form name@place, such as signe@example.org. Correct it or leave it empty."
NAME_WRONG = (
    "A user name has letters, digits and @ . + - _ only, without spaces. Leave out the other characters."
)
NO_ROLE = "Choose a role."
# Browsers must not put the manager's own name into the form for somebody else.
PLAIN = {"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}


def role_field() -> forms.ChoiceField:
    return forms.ChoiceField(
        label="Role", choices=[("", "Choose a role"), *Role.choices], error_messages={"required": NO_ROLE}
    )


class GiveRoleForm(forms.Form):
    """A person who has a sign-in already, and a role."""

    username = forms.CharField(
        label="User name",
        max_length=150,
        widget=forms.TextInput(attrs=PLAIN),
        help_text="The name the person signs in with.",
    )
    role = role_field()

    def clean_username(self) -> User:
        name = self.cleaned_data["username"]
        user = person_named(name)
        if user is None:
            raise ValidationError(
                f"Nobody signs in as “{name}”. Check the spelling, or bring the person in as new."
            )
        return user


class NewPersonForm(forms.ModelForm):
    """User name, name, address and first role of somebody new."""

    role = role_field()

    class Meta:
        model = User
        fields = ("full_name", "username", "email")
        field_classes = {"username": UsernameField}
        labels = {"full_name": "Full name", "username": "User name", "email": "E-mail"}
        help_texts = {
            "full_name": "Stands in the history beside what the person does.",
            "username": "To sign in with. Letters, digits and @ . + - _; it cannot be changed later.",
            "email": "For you to reach the person; the portal sends no mail.",
        }
        error_messages = {"username": {"invalid": NAME_WRONG}, "email": {"invalid": EMAIL_WRONG}}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["full_name"].required = True
        for name in ("full_name", "username", "email"):
            self.fields[name].widget.attrs.update(PLAIN if name != "full_name" else {"autocomplete": "off"})

    def clean_username(self) -> str:
        name = str(self.cleaned_data["username"])
        if person_named(name):
            raise ValidationError(NAME_TAKEN)
        return name


class AccountForm(forms.ModelForm):
    """One's own name and address."""

    class Meta:
        model = User
        fields = ("full_name", "email")
        labels = {"full_name": "Full name", "email": "E-mail"}
        help_texts = {
            "full_name": "Stands in the history beside what you do.",
            "email": "For the managers of your trials to reach you; the portal sends no mail.",
        }
        error_messages = {"email": {"invalid": EMAIL_WRONG}}
        widgets = {
            "full_name": forms.TextInput(attrs={"autocomplete": "name"}),
            "email": forms.EmailInput(attrs={"autocomplete": "email"}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["full_name"].required = True


class OwnPasswordForm(PasswordChangeForm):
    """Django's form in the portal's words; the rules are those of the settings."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        words = {
            "old_password": ("Present password", ""),
            "new_password1": ("New password", " ".join(password_validators_help_texts())),
            "new_password2": ("New password again", ""),
        }
        for name, (label, hint) in words.items():
            self.fields[name].label, self.fields[name].help_text = label, hint
