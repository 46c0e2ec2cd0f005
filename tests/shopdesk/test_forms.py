"""Forms: labels, help and errors tied to their fields, and the summary on top."""

from django import forms
from django.template import Context, Template
from lxml import html as lxml_html

from shopdesk.fields import MoneyFormField
from shopdesk.shop.models import Shop


def drawn(source, **context):
    context.setdefault("shop", Shop(pk=1))
    return Template("{% load desk %}" + source).render(Context(context))


def tree(text):
    return lxml_html.fromstring(text)


class Sample(forms.Form):
    complaint = forms.CharField(help_text="Not <b>HTML</b>.")
    fee = MoneyFormField(places=2)
    came_by = forms.ChoiceField(
        choices=[("in", "Walked in"), ("post", "By post")], widget=forms.RadioSelect
    )
    serial = forms.CharField(required=False)
    agreed = forms.BooleanField(required=False)
    step = forms.CharField(widget=forms.HiddenInput, required=False)

    def clean(self):
        if self.data.get("serial") == "seen":
            raise forms.ValidationError("This device is in the house already.")


def test_a_field_is_tied_to_its_label_help_and_error():
    page = tree("<form>" + str(Sample({"fee": "1e5"})) + "</form>")
    for name in ("complaint", "fee"):
        box = page.get_element_by_id(f"id_{name}")
        assert page.xpath(f"//label[@for='id_{name}']")
        assert box.get("aria-invalid") == "true"
        told = [page.get_element_by_id(i) for i in box.get("aria-describedby").split()]
        assert "Error: " in told[-1].text_content()
    assert page.get_element_by_id("id_fee").get("value") == "1e5"
    assert "Not <b>HTML</b>." in page.get_element_by_id("id_complaint_helptext").text
    choices = page.xpath("//fieldset[legend]")[0]
    assert page.get_element_by_id(choices.get("aria-describedby")) is not None


def test_only_what_may_stay_empty_says_so():
    page = tree("<form>" + str(Sample()) + "</form>")
    assert [
        x.text_content().strip()
        for x in page.xpath("//label")
        if "opt" in x.text_content()
    ] == ["Serial (optional)"]
    assert not page.xpath("//*[@aria-invalid]")


def test_a_form_that_asks_for_nothing_does_not_say_optional():
    class Filter(forms.Form):
        after = forms.DateField(required=False)

    assert "optional" not in str(Filter())


def test_the_summary_names_each_fault_once_and_leads_to_its_field():
    form = Sample({"serial": "seen", "complaint": "Hums", "fee": "-1"})
    whole = tree(
        drawn(
            '<div>{% include "shopdesk/look/_errors.html" %}{{ form }}</div>', form=form
        )
    )
    summary = whole.get_element_by_id("problems")
    links = {a.get("href")[1:]: a.text_content() for a in summary.xpath(".//a")}
    assert set(links) == {"id_fee", "id_came_by_0"}
    for target in links:
        assert whole.get_element_by_id(target).tag == "input"
    assert "This device is in the house already." in summary.text_content()
    assert summary.get("tabindex") == "-1"


def test_the_summary_gathers_several_forms_and_formsets():
    formset = forms.formset_factory(Sample)(
        {"form-TOTAL_FORMS": "1", "form-INITIAL_FORMS": "0", "form-0-fee": "x"}
    )
    both = [Sample({}, prefix="a"), Sample({"complaint": "x"}, prefix="b"), Sample()]
    summary = tree(
        drawn('{% include "shopdesk/look/_errors.html" %}', forms=both, formset=formset)
    )
    targets = summary.xpath(".//a/@href")
    assert "#id_a-fee" in targets and "#id_b-fee" in targets
    assert "#id_form-0-fee" in targets
    assert len(targets) == len(set(targets))


def test_a_form_nobody_sent_has_no_summary():
    assert not drawn(
        '{% include "shopdesk/look/_errors.html" %}', form=Sample()
    ).strip()
