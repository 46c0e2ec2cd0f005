"""Labels of parts: one page each, whatever the input, and found again by their code."""

import pikepdf
import pytest

from repairs.bench.fields import PartField
from repairs.stock.labels import SIZES, render_labels
from repairs.stock.models import Part
from shopdesk.look.qr import qr_code
from tests import make

pytestmark = pytest.mark.django_db


@pytest.mark.paper
@pytest.mark.parametrize("size", SIZES)
def test_each_label_is_one_page_however_long_its_texts(size, tmp_path):
    make.part("J-5", value="4k7 1% 0402", bin="A3")
    longest = {"name": "long words " * 10, "value": "W" * 60, "bin": "W" * 20}
    make.part("N" * 40, **longest)
    file = tmp_path / "labels.pdf"
    parts = Part.objects.order_by("number")
    file.write_bytes(render_labels(parts, size=size, made_at=make.stamp().at))
    with pikepdf.open(file) as pdf:
        assert len(pdf.pages) == 2


def test_the_code_of_a_label_finds_the_part_at_the_bench_and_in_the_search(client):
    client.force_login(make.user(role="owner"))
    part, other = make.part("J-5"), make.part("J-55", name="J-5 holder")
    assert PartField().clean(part.number) == part
    assert qr_code(part.number).path != qr_code(other.number).path
    found = client.get("/find/", {"q": part.number}, follow=True)
    assert part.name in found.content.decode()
    assert client.get(f"/shelf/{part.pk}/label/", {"size": "1x1"}).status_code == 404
    answer = client.get("/shelf/labels/", {"q": "J-5", "size": SIZES[1]})
    assert answer["Content-Type"] == "application/pdf"
    client.force_login(make.user(role="counter"))
    assert client.get("/shelf/labels/").status_code == 403
