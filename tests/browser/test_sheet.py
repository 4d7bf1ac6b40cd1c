"""The setting sheet as a browser prints it: two pages on either paper, and nothing fetched."""

import re

import pytest

import forgeprops as fp
from forgeprops.show.sheet import sheet


@pytest.mark.parametrize("paper, size", [("A4", (594.96, 841.92)), ("Letter", (612, 792))])
def test_two_pages_on_either_paper(browser, tmp_path, paper, size):
    made = sheet(fp.estimate(fp.grade("4130")), tmp_path / "s.html", paper)
    page, asked = browser.new_page(), []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(made.as_uri())
    pdf = page.pdf(prefer_css_page_size=True)
    page.close()
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", pdf)
    assert len(boxes) == 2
    assert [float(v) for v in boxes[0]] == pytest.approx(size, abs=0.2)
    assert [url for url in asked if not url.startswith("data:")] == [made.as_uri()]
