"""A stopgap is asked about on its day, and what the customer said is kept."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from repairs.jobs.models import Repair, StopgapAnswer
from repairs.returns.stopgaps import record_answer
from shopdesk.errors import StaleError
from tests import make

pytestmark = pytest.mark.django_db


def test_a_stopgap_is_asked_about_on_its_day_until_the_customer_answers(client):
    on = timezone.localdate()
    make.shop(country="GB")
    fault = make.fault()
    fix = make.fix(fault, fix_type="stopgap")

    def stopgap(phone, **facts):
        device = make.device(make.customer(phone=phone))
        early = {"on": make.DAY, "of": device, "expected_days": 21}
        return make.past_repair(fault, fix, **(early | facts))

    due = stopgap("+441632960001", ask_on=on)
    stopgap("+441632960002", ask_on=on + timedelta(days=1))
    stopgap("+441632960003", ask_on=on, fix_type="lasting")
    stopgap("+441632960004", ask_on=on, back_on=on)
    asked = Repair.objects.to_ask_about(on=on)
    assert [*asked] == [due]
    client.force_login(make.user("bench"))
    page = client.get(reverse("today")).text
    assert "960001" in page and "960002" not in page
    assert "expected to last about 3 weeks" in page
    url, name = reverse("returns:record_answer", args=[due.pk]), f"ask-{due.pk}"
    said = {f"{name}-answer": "holds", f"{name}-ask_on": str(on)}
    assert "Enter a day after today." in client.post(url, said).text
    assert "Select an answer." in client.post(url, {}).text
    assert not StopgapAnswer.objects.exists()
    answer = client.post(url, {f"{name}-answer": "no_answer"})
    assert answer.status_code == 302
    due.refresh_from_db()
    assert due.ask_on == on + timedelta(days=7) and not asked.all()
    with pytest.raises(StaleError, match="Someone else has recorded"):
        record_answer(due, answer="holds", ask_on=None, stamp=make.stamp())
    later = make.stamp(due.ask_on)
    record_answer(due, answer="came_back", ask_on=None, stamp=later)
    due.refresh_from_db()
    assert due.ask_on is None and due.stopgap_answers.count() == 2
    client.force_login(make.user("counter"))
    assert "Ask how it holds" not in client.get(reverse("today")).text
