"""The panel on the page of a job, the jobs behind its figures, the counter's line."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse

from repairs.diagnosis import learning
from repairs.diagnosis.panel import WhatWeKnow
from repairs.faults.models import Check, Symptom
from repairs.jobs import states
from repairs.jobs.models import CheckResult, Job, Repair
from repairs.stock.models import Part
from tests import make

pytestmark = pytest.mark.django_db


@pytest.fixture
def past():
    """Nine past laptops: six loose sockets, three worn ones, all with one symptom."""
    shop = make.shop(tax_rate=20)
    loose = make.fault("PWR-LOOSE", name="Socket loose")
    worn = make.fault("PWR-WORN", name="Socket worn")
    symptom = Symptom.objects.create(name="charges in one position")
    check = Check.objects.create(name="Plug moved", where="socket", minutes=3)
    check.results = "holds;drops out"
    check.save()
    fixes = {f: make.fix(f, code=f"{f.code}-NEW", minutes=30) for f in (loose, worn)}
    for n in range(9):
        fault = loose if n < 6 else worn
        done = make.past_repair(
            fault, fixes[fault], on=make.DAY - timedelta(days=n + 1)
        )
        Job.objects.filter(pk=done.job_id).update(
            complaint="The charger falls out" if fault == loose else "Slow charging"
        )
        done.job.symptoms.add(symptom)
        result = "drops out" if fault == loose else "holds"
        facts = {"check_made": check, "result": result, "made_at": make.stamp().at}
        CheckResult.objects.create(job=done.job, **facts)
    learning.learn_all()
    return {"shop": shop, "symptom": symptom, "check": check, "faults": (loose, worn)}


def page_of(client, job, role="bench"):
    client.force_login(make.user(role))
    return client.get(job.get_absolute_url()).content.decode()


def panel_of(client, job, role="bench"):
    """The panel, as the page of the job asks for it."""
    address = reverse("diagnosis:panel", args=[job.pk])
    assert f'hx-get="{address}"' in page_of(client, job, role)
    return client.get(address, headers={"HX-Request": "true"}).content.decode()


def test_the_page_names_the_likely_faults_and_counts_such_jobs(client, past):
    job = make.job(complaint="The charger falls out")
    job.symptoms.add(past["symptom"])
    panel = panel_of(client, job)
    assert panel.index("Socket loose") < panel.index("Socket worn")
    assert "6 of 9 such jobs" in panel and "3 of 9 such jobs" in panel
    assert "laptop with these symptoms" in panel
    for fault, count in zip(past["faults"], (6, 3), strict=True):
        address = reverse("diagnosis:cases", args=[job.pk, fault.pk])
        assert address in panel
        listed = client.get(address)
        assert listed.context["table"].paginator.count == count
        assert {case.fault for case in listed.context["table"].data} == {fault}
    (similar,) = re.findall(r"Similar jobs</summary>(.*?)</ul>", panel, re.S)
    assert similar.count("<li>") == 3 and "PWR-LOOSE" not in similar
    assert "Socket loose – Replace the socket" in similar


def test_use_adds_the_fault_by_the_usual_form(client, past):
    job = make.job(complaint="Charger fell out")
    panel = panel_of(client, job)
    sent = re.search(r'name="fault-fault" value="([^"]*)"', panel)
    client.post(
        reverse("bench:add_fault", args=[job.pk]),
        {"fault-fault": sent[1], "version": job.version},
    )
    assert [repair.fault.code for repair in job.repairs.all()] == ["PWR-LOOSE"]
    assert 'name="fault-fault"' not in panel_of(client, job, "counter")


def test_the_next_check_says_why_and_its_result_is_recorded(client, past):
    job, check = make.job(), past["check"]
    job.symptoms.add(past["symptom"])
    panel = panel_of(client, job)
    assert "“drops out” speaks for Socket loose, “holds” for Socket worn." in panel
    address = reverse("diagnosis:record_result", args=[job.pk])

    def send(result, **headers):
        sent = {"check": check.pk, "result": result}
        return client.post(address, sent, headers=headers)

    answer = send("holds", **{"HX-Request": "true"}).content.decode()
    assert answer.index("Socket worn") < answer.index("Socket loose")
    assert answer.count('name="fault-fault"') == 2  # it can still be used
    assert "Plug moved: <b>holds</b>" in answer and "speaks for" not in answer
    assert send("drops out").status_code == 302
    assert job.check_results.get().result == "drops out"
    send("catches fire")
    assert job.check_results.get().result == "drops out"
    send("")
    assert not job.check_results.exists()
    client.post(address, {"choice": f"{check.pk}=holds"})
    assert job.check_results.get().result == "holds"
    for choice in ("", "x=holds", "999=holds", f"{check.pk}=other"):
        client.post(address, {"choice": choice})
    assert job.check_results.get().result == "holds"
    send("")
    Job.objects.filter(pk=job.pk).update(state=states.EXPECTED)
    send("holds")
    assert not job.check_results.exists()


def test_it_says_so_when_nothing_is_known(client):
    assert "Nothing is known yet" in panel_of(client, make.job(complaint="Dead"))


def test_a_retired_fault_is_learnt_and_not_offered(client, past):
    loose, _ = past["faults"]
    loose.is_retired = True
    loose.save()
    panel = panel_of(client, make.job())
    assert "Socket loose" not in panel and "Socket worn" in panel


@pytest.mark.parametrize("family", ["", "Slate"])
def test_the_panel_asks_at_most_eight_queries(
    past, family, django_assert_max_num_queries
):
    device = make.device(model=make.device_model(model="Slate 15", family=family))
    job = make.job(device, complaint="Charger fell out")
    job.symptoms.add(past["symptom"])
    job = Job.objects.select_related("device__model").get(pk=job.pk)
    with django_assert_max_num_queries(8):
        panel = WhatWeKnow(job, may=True)
        assert panel.faults and panel.similar and panel.next_checks
        assert panel.results == []


def test_fixes_are_shown_with_record_price_part_and_profit_to_whom_it_concerns(
    client, past
):
    loose, _ = past["faults"]
    part = make.part("JCK-1", on_hand=2, bin="A1")
    fix = loose.fixes.get()
    fix.usual_parts.create(part=part, quantity=1)
    address = reverse("diagnosis:fixes", args=[loose.pk])

    def shown(role):
        client.force_login(make.user(role))
        return client.get(address, headers={"HX-Request": "true"}).content.decode()

    page = shown("owner")
    assert "0 of 6" in page and "2 in A1" in page and "Profit after comebacks" in page
    assert "Profit" not in shown("counter")
    Part.objects.filter(pk=part.pk).update(on_hand=0)
    assert "out of stock" in shown("bench")
    assert Repair.objects.filter(fault=loose).count() == 6


def test_the_counter_reads_the_likely_fault_and_its_minutes(client, past):
    client.force_login(make.user("counter"))
    address = reverse("diagnosis:likely")
    typed = {"d-kind": "laptop", "complaint": "the charger always falls out"}
    line = " ".join(client.get(address, typed).content.decode().split())
    assert line.startswith('<p class="quiet">Likely: Socket loose (')
    assert "about 30 min" in line
    device = make.device()
    line = client.get(address, {"device": device.pk, "complaint": "slow charging"})
    assert "Likely: Socket worn" in line.content.decode()
    assert client.get(address, {"device": "new"}).content.strip() == b""
    learning.LearntCount.objects.all().delete()
    assert "nothing is known" in client.get(address, typed).content.decode()


def test_symptoms_that_are_usual_come_first_and_others_are_typed(client, past):
    for n in range(30):
        Symptom.objects.create(name=f"a rare symptom {n:02d}")
    job = make.job(complaint="The charger falls out")
    page = page_of(client, job)
    ticks = re.findall(r'name="findings-symptoms" value="(\d+)"', page)
    assert len(ticks) == 12 and int(ticks[0]) == past["symptom"].pk
    sent = {"findings-symptoms": [ticks[0]], "version": job.version}
    sent["findings-other_symptoms"] = "A rare Symptom 29; a rare symptom 28"
    address = reverse("bench:save_findings", args=[job.pk])
    client.post(address, sent)
    names = {str(symptom) for symptom in job.symptoms.all()}
    assert names == {
        str(past["symptom"]),
        "a rare symptom 28",
        "a rare symptom 29",
    }
    job.refresh_from_db()
    sent |= {"findings-other_symptoms": "unheard of", "version": job.version}
    assert "no symptom “unheard of”" in client.post(address, sent).content.decode()


def test_the_family_of_a_model_is_edited(client):
    model = make.device_model(model="Slate 15", family="Slate")
    other = make.device_model(model="Slate 14")
    client.force_login(make.user("bench"))
    address = reverse("customers:change_model", args=[other.pk])
    page = client.get(address).content.decode()
    assert '<option value="Slate">' in page
    client.post(address, {"family": "Slate"})
    other.refresh_from_db()
    assert other.family == "Slate"
    assert learning.models_of(model) == (model.pk, other.pk)
    listed = client.get(reverse("customers:models")).content.decode()
    assert listed.count("Slate</td>") == 2
