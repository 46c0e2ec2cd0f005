"""A desk with staff who can sign in, for tests that drive a browser."""

import pytest

from shopdesk.staff.models import User
from tests import make

PASSPHRASE = "quiet lamp over nine tins"


@pytest.fixture
def staff(transactional_db):
    """One of each role, by role; all with the same passphrase."""
    make.shop(owners_need_second_factor=False)
    return {
        role: User.objects.create_user(
            role, PASSPHRASE, name=f"{role.title()} Person", role=role
        )
        for role in ("counter", "bench", "owner")
    }


@pytest.fixture
def sign_in(live_server, staff, new_context):
    """Opens a browser of its own for a member of staff and signs them in."""

    def open_desk(role, **how):
        how.setdefault("viewport", {"width": 1280, "height": 900})
        context = new_context(base_url=live_server.url, **how)
        context.set_default_timeout(90_000)
        page = context.new_page()
        page.complaints = []
        page.on("console", lambda said: page.complaints.append(said.text))
        page.on("pageerror", lambda said: page.complaints.append(str(said)))
        page.goto("/")
        page.get_by_label("Sign-in name").fill(role)
        page.get_by_label("Password").fill(PASSPHRASE)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/")
        return page

    return open_desk


@pytest.fixture
def stocked_shop(staff):
    """A shop with one fault, a lasting fix and a stopgap for it, and the part."""
    shop = make.shop(name="Quillfeather Electronics", phone="+441632960111")
    fault = make.fault("PWR-JACK-OPEN", "Charging socket cracked off its pads")
    part = make.part("SOC-5P", on_hand=10, name="Charging socket, 5 pin")
    lasting = make.fix(
        fault, code="JACK-REPLACE", name="Replace the charging socket", minutes=45
    )
    lasting.usual_parts.create(part=part)
    make.fix(
        fault,
        code="JACK-REFLOW",
        name="Reflow the charging socket",
        minutes=20,
        fix_type="stopgap",
    )
    make.customer("Ada Fenwick", phone="+441632960123", email="ada@fenwick.example")
    return shop
