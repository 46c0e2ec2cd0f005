"""Each user reads the screens in a language of their own."""

import re

import pytest
from django.core import checks
from django.urls import reverse

from shopdesk.checks import NO_SCREENS
from shopdesk.screen_language import language_of_browser, locale_of
from tests import make

PAGE = reverse("staff:language")


@pytest.fixture
def german(settings):
    """German can be chosen, as English can."""
    settings.SCREEN_LANGUAGES = ("en", "de")


def language_of(page):
    return re.search(r'<html lang="([^"]*)"', page.content.decode())[1]


def user_of(client, language=""):
    user = make.user()
    user.language = language
    user.save()
    client.force_login(user)
    return user


@pytest.mark.django_db
def test_a_user_chooses_a_language_for_their_own_pages(client, german):
    user = user_of(client)
    assert language_of(client.get(PAGE)) == "en-gb"
    answer = client.post(PAGE, {"language": "de"}, follow=True)
    user.refresh_from_db()
    assert (user.language, language_of(answer)) == ("de", "de")
    assert "Sprache gespeichert." in answer.content.decode()
    answer = client.post(PAGE, {"language": ""}, follow=True)
    assert language_of(answer) == "en-gb"


@pytest.mark.django_db
def test_a_language_that_is_not_listed_is_neither_offered_nor_active(client, german):
    user = user_of(client, "de")
    refused = client.post(PAGE, {"language": "fr"})
    assert refused.status_code == 200 and language_of(refused) == "de"
    user.refresh_from_db()
    assert user.language == "de"


@pytest.mark.django_db
def test_with_one_language_there_is_nothing_to_choose(client, settings):
    settings.SCREEN_LANGUAGES = ("en",)
    user_of(client, "de")
    assert client.get(PAGE).status_code == 404
    page = client.get(reverse("staff:password"), headers={"accept-language": "de"})
    assert language_of(page) == "en-gb" and PAGE not in page.content.decode()


@pytest.mark.django_db
def test_errors_and_the_messages_of_forms_are_in_the_language_of_the_user(
    client, german
):
    user_of(client, "de")
    assert language_of(client.get("/no-such-page/")) == "de"
    page = client.post(reverse("staff:password"), {}).content.decode()
    assert "Dieses Feld ist zwingend erforderlich." in page


@pytest.mark.django_db
def test_the_sign_in_page_follows_the_browser(client, german):
    user_of(client)
    client.logout()
    asked = {"accept-language": "fr, de-AT;q=0.8, en;q=0.5"}
    assert language_of(client.get(reverse("staff:sign_in"), headers=asked)) == "de"
    assert language_of(client.get(reverse("staff:sign_in"))) == "en-gb"


@pytest.mark.django_db
def test_what_customers_open_follows_the_documents_and_not_the_browser(client, german):
    make.shop(paper_language="en")
    page = client.get(
        reverse("link:page", args=["x" * 43]), headers={"accept-language": "de"}
    )
    assert language_of(page) == "en-gb"


def test_a_browser_that_wants_no_listed_language_gets_the_default(settings):
    settings.SCREEN_LANGUAGES, settings.LANGUAGE_CODE = ("en", "de"), "de"
    assert language_of_browser("fr, *;q=0.1") == "de"
    assert language_of_browser("en-us") == "en" == locale_of("en")


def test_an_unlisted_language_of_the_server_is_refused_by_the_checks(settings):
    def problems():
        return [found.id for found in checks.run_checks(tags=["translation"])]

    settings.SCREEN_LANGUAGES, settings.LANGUAGE_CODE = ("en",), "de"
    assert problems() == [NO_SCREENS]
    settings.LANGUAGE_CODE = "en-us"
    assert problems() == []
