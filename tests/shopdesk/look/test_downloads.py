from shopdesk.look.downloads import download, pdf_response


def test_a_pdf_is_shown_in_the_browser():
    answer = pdf_response(memoryview(b"%PDF-1.7"), name="quote-26-00412-1")
    assert answer.content == b"%PDF-1.7"
    assert answer["Content-Type"] == "application/pdf"
    assert answer["Content-Disposition"] == 'inline; filename="quote-26-00412-1.pdf"'


def test_another_file_is_saved_as_what_its_name_ends_with():
    answer = download("fault,fix\n", name="comebacks.csv")
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert answer["Content-Disposition"] == 'attachment; filename="comebacks.csv"'
    assert download(b"<a/>", name="INV26-1.xml")["Content-Type"] == "application/xml"
