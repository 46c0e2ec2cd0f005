"""A quick hand is ahead of a slow line: nothing it types is lost."""

import re
import time

import pytest

from repairs.jobs.models import Job

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.once]


def test_what_is_typed_while_answers_are_on_their_way_stays(sign_in, stocked_shop):
    counter = sign_in("counter")

    def late(route):
        time.sleep(0.8)
        route.continue_()

    counter.route(re.compile("/counter/"), late)
    counter.goto("/counter/")
    counter.keyboard.type("fenw")
    counter.get_by_text("+44 1632 960123").wait_for()
    counter.keyboard.press("Enter")
    main = counter.locator("main")
    main.get_by_label("Serial (optional)").fill("NW14-00812")
    main.get_by_label("Complaint").fill("Charges only when I hold the plug up.")
    counter.wait_for_load_state("networkidle")
    main.get_by_label("Kind").fill("laptop")
    main.get_by_role("combobox", name="Model").fill("Slate 14")
    counter.wait_for_load_state("networkidle")
    assert main.get_by_label("Serial (optional)").input_value() == "NW14-00812"
    main.get_by_role("button", name="Book in").click()
    counter.wait_for_url(re.compile(r"/counter/\d+/"))
    job = Job.objects.get()
    assert job.device.serial == "NW14-00812"
    assert job.device.model.kind == "laptop"
    assert job.complaint == "Charges only when I hold the plug up."
