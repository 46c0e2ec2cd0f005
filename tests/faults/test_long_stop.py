"""The server was off for three days: what was due is done once, not three times."""

from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from billing.reminders.actions import due_for_reminder, send_reminder
from repairs.customers.models import Customer
from shopdesk.errors import RefusedError
from shopdesk.keeping.nightly import backups, nightly
from shopdesk.keeping.retention import Keep
from shopdesk.mail.actions import send_due
from shopdesk.mail.models import Email
from shopdesk.shop.models import Shop
from tests import make
from tests.billing import till
from tests.shopdesk.mail.post_office import open_office

DUE = till.TODAY + timedelta(days=15)


@pytest.mark.django_db(transaction=True)
def test_reminders_emails_and_the_night_are_done_once(tmp_path, settings):
    settings.BACKUP_DIR = tmp_path
    make.shop(email="desk@spark.example")
    bill = till.handed_over()
    Customer.objects.update(email="ada@fenwick.example")
    back = DUE + timedelta(days=3)
    shop = Shop.current()
    for on in (DUE, back, back):
        due = list(due_for_reminder(on=on, shop=shop))
        assert due == [bill]
    waiting = Email.objects.count()
    send_reminder(bill, stamp=make.stamp(on=back), text="", mail=True)
    with pytest.raises(RefusedError, match="next reminder"):
        send_reminder(bill, stamp=make.stamp(on=back), text="", mail=True)
    assert list(due_for_reminder(on=back, shop=shop)) == []
    # The timers run when the machine is on again, and once more at their hour.
    moment = datetime(back.year, back.month, back.day, 12, tzinfo=UTC)
    with open_office(settings) as office:
        for _ in range(2):
            list(send_due(clock=lambda: moment))
            assert list(nightly(tmp_path, on=timezone.localdate(), keep=Keep())) == []
    assert len(office.got) == waiting + 1
    assert not Email.objects.filter(sent_at=None).exists()
    assert len(backups(tmp_path)) == 1
