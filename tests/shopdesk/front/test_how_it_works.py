"""The texts “How this works”; that each page has one is tested in a browser."""

from shopdesk.front.how_it_works import TEXTS, how_it_works
from tests.shopdesk.staff.url_roles import EXPECTED


def test_texts_are_of_pages_and_rooms_that_exist():
    rooms = {name.partition(":")[0] for name in EXPECTED}
    assert set(TEXTS) <= rooms | set(EXPECTED)


def test_a_page_without_a_text_of_its_own_has_that_of_its_room():
    assert how_it_works("stock:count") == TEXTS["stock"] != TEXTS["stock:parts"]
    assert how_it_works("stock:parts") == TEXTS["stock:parts"]
    assert how_it_works("look") == ""
