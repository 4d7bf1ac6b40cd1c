"""The page in a real browser, in JupyterLab and under Voilà: what fits, what a reader does, and how quickly it follows."""

import json
import re
import time
from pathlib import Path

import pytest
from browser.conftest import NotebookPage, record_time, server
from playwright.sync_api import expect

from forgeprops.base.tables import data_path

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "01_the_head.ipynb"
BOXES = ".rail, .tile, .says, .signs, svg.head, .tabs, .panel"


@pytest.fixture(scope="module")
def served(browser, tmp_path_factory):
    """The page under Voilà; every request that leaves the machine is refused."""
    pytest.importorskip("voila", reason="page server (extra pages) is not installed")
    folder = tmp_path_factory.mktemp("pages")
    with server(folder, f"voila {NOTEBOOK.parent} --Voila.ip=127.0.0.1") as address:
        opened = NotebookPage(browser.new_page(viewport={"width": 1280, "height": 720}), "01")
        inside = re.compile(r"127\.0\.0\.1|^(data|blob):")
        opened.page.route(lambda url: not inside.search(url), lambda route: route.abort())
        begin = time.monotonic()
        opened.page.goto(f"{address}/voila/render/{NOTEBOOK.name}", timeout=120_000)
        opened.page.wait_for_selector(".fpg .tile", timeout=60_000)
        print(f"\npage under the server: {time.monotonic() - begin:.1f} s to the first answer")
        opened.page.wait_for_selector(".fpg .cure", state="attached", timeout=60_000)
        ready(opened.page)
        yield opened
        opened.page.close()


def ready(page):
    page.wait_for_selector(".fpg:not(.moving)", state="attached")


def face(page) -> float:
    return float(page.locator("[data-tile=face] .value").inner_text())


def fits(page, boxes, width, height) -> None:
    """In a window of this size all these boxes stand inside it."""
    page.set_viewport_size({"width": width, "height": height})
    page.wait_for_timeout(800)
    for box in page.locator(boxes).all():
        b = box.bounding_box()
        assert b["x"] >= 0 and b["y"] >= 0, (width, box)
        assert b["x"] + b["width"] <= width and b["y"] + b["height"] <= height, (width, box)


def test_everything_stands_inside_the_window(served):
    for size in ((1440, 900), (1280, 720)):
        fits(served.page, BOXES, *size)


def undo_twice_to(page, hv: float) -> None:
    for _ in range(2):
        page.keyboard.press("Control+z")
        ready(page)
    expect(page.locator("[data-tile=face] .value")).to_have_text(f"{hv:.0f}", timeout=30_000)


def tab_to(page, condition: str) -> None:
    """Walk with the Tab key to the element for which the condition on ``e`` holds."""
    for _ in range(70):
        page.keyboard.press("Tab")
        if page.evaluate(f"() => {{ const e = document.activeElement; return !!({condition}); }}"):
            return
    pytest.fail(f"the Tab key does not reach {condition}")


def test_keyboard_alone_pins_ruins_mends_and_undoes(served):
    page = served.page
    before = face(page)
    tab_to(page, "e.textContent === 'Pin A'")
    page.keyboard.press("Enter")
    tab_to(page, "e.dataset.name === 'spray_s'")
    for _ in range(20):
        page.keyboard.press("ArrowLeft")
    page.wait_for_selector("[data-tile=face][data-level=out]")
    assert page.locator("[data-tile=face] .a").inner_text().startswith("A ")
    veil = page.locator("svg.head path[pointer-events=none][fill*=out]")
    assert veil.count() >= 1  # hatched, for grey print
    page.locator(".cure:visible").wait_for(timeout=20_000)
    tab_to(page, "e.classList.contains('cure')")
    page.keyboard.press("Enter")
    page.wait_for_selector(".says[data-level=good]")
    undo_twice_to(page, before)  # the remedy, then all the keys at once
    tab_to(page, "e.dataset.tab === 'why'")
    page.keyboard.press("ArrowRight")
    page.wait_for_selector(".other table button.link")
    assert page.locator("[data-tab=steels]").get_attribute("aria-selected") == "true"
    page.get_by_role("button", name="Unpin A").click()


def test_the_map_dims_and_is_never_blank(served):
    page = served.page
    before = face(page)
    page.get_by_role("tab", name="Window").click()
    page.wait_for_selector(".other:not(.stale) .map", timeout=30_000)
    page.locator("[data-name=flux]").focus()
    page.keyboard.press("ArrowRight")
    page.wait_for_selector(".other.stale .map")
    page.wait_for_selector(".other:not(.stale) .map", timeout=30_000)
    page.locator(".map button.good").first.click()
    page.wait_for_selector(".says[data-level=good]")
    undo_twice_to(page, before)


def test_files_are_dropped_fitted_and_used_and_the_sheet_is_saved_twice(served):
    page = served.page
    before = face(page)
    page.get_by_role("tab", name="Shop").click()
    page.wait_for_selector(".drop")
    page.evaluate(
        "text => { const t = new DataTransfer(); t.items.add(new File([text], 'bench.csv'));"
        " document.querySelector('.drop').dispatchEvent(new DragEvent('drop', { dataTransfer: t, bubbles: true })); }",
        data_path("demo", "hardness.csv").read_text(encoding="utf-8"),
    )
    page.locator(".other tbody th", has_text="bench.csv").wait_for(timeout=20_000)
    names = ("certificates", "runs")
    page.set_input_files(".drop input", [data_path("demo", f"{n}.csv") for n in names])
    page.locator(".other tbody th", has_text="runs.csv").wait_for(timeout=20_000)
    page.get_by_role("button", name="certificates.csv").click()
    row = page.locator("tr", has_text="more than the 1.2 wt% allowed")
    row.locator(".mark[data-level=out]").wait_for()
    page.get_by_role("button", name="Fit the shop").click()
    page.get_by_role("button", name="Use this shop").click(timeout=60_000)
    page.wait_for_function("() => document.querySelector('.shop').textContent === 'shop: our shop'")
    ready(page)
    assert face(page) > before + 10
    page.get_by_role("tab", name="Sheet").click()
    page.wait_for_selector("iframe.paper", timeout=20_000)
    for _ in range(2):
        with page.expect_download() as got:
            page.get_by_role("button", name="Download").click()
        name = got.value.suggested_filename
        assert re.fullmatch(r"\d{4}-\d\d-\d\d_4130_mid-iron_\w{8}\.html", name)
        assert "NOT WITHIN" not in Path(got.value.path()).read_text(encoding="utf-8")
    page.get_by_role("button", name="Undo").click()
    page.wait_for_function("() => document.querySelector('.shop').textContent === ''")


def test_steel_of_a_row_is_taken_and_units_switch(served):
    page = served.page
    page.get_by_role("tab", name="Steels").click()
    page.get_by_role("button", name="1050", exact=True).click()
    page.wait_for_function("() => document.querySelector('.fpg h1').textContent.startsWith('1050')")
    page.get_by_label("temperature unit").select_option("°F")
    page.wait_for_function("() => /°F/.test(document.querySelector('.fpg .sub').textContent)")
    page.get_by_label("length unit").select_option("in")
    page.get_by_label("hardness scale").select_option("HRC")
    for tab in ("why", "bending", "later", "shop"):
        page.locator(f"[data-tab={tab}]").click()
        ready(page)
        blocks = "t => t === 'why' || document.querySelector('.other:not(.stale) .blocks')"
        page.wait_for_function(blocks, arg=tab)
        shown = page.locator(".cols").inner_text()
        assert "°F" in shown and not re.search(r"\d ?(°C|HV|mm|N|L/min)\b", shown), tab
    for name, unit in (("temperature unit", "°C"), ("length unit", "mm"), ("hardness scale", "HV")):
        page.get_by_label(name).select_option(unit)


def test_names_downloads_and_console(served):
    page = served.page
    with page.expect_download() as got:
        page.get_by_role("button", name="Save", exact=True).click()
    assert got.value.suggested_filename.startswith("job-")
    saved = json.loads(Path(got.value.path()).read_text(encoding="utf-8"))
    saved["route"]["preheat_c"] = 915.0
    page.get_by_role("tab", name="Shop").click()
    job = {"name": "job.json", "mimeType": "", "buffer": json.dumps(saved).encode()}
    # a job among the shop's files is opened
    page.locator(".fpg input[aria-label=files]").set_input_files([job])
    expect(page.locator(".fpg .sub")).to_have_text(re.compile("^915"), timeout=30_000)
    assert served.unnamed() == []
    assert [e for e in served.errors if "ERR_FAILED" not in e] == []


_EXECUTE = """
async ([code, wanted]) => {
  const {kernelId, baseUrl} = JSON.parse(document.getElementById('jupyter-config-data').textContent);
  const socket = new WebSocket(`ws://${location.host}${baseUrl}api/kernels/${kernelId}/channels?session_id=visitor`);
  await new Promise((yes, no) => { socket.onopen = yes; socket.onerror = no; });
  const kinds = [];
  socket.onmessage = (e) => { if (typeof e.data === 'string') kinds.push(JSON.parse(e.data).msg_type); };
  for (const [msg_type, content] of [['execute_request', {code, silent: false}], ['kernel_info_request', {}]])
    socket.send(JSON.stringify({channel: 'shell', parent_header: {}, metadata: {}, buffers: [], content,
      header: {msg_id: msg_type, username: 'v', session: 'visitor', date: new Date().toISOString(), msg_type, version: '5.3'}}));
  const slider = document.querySelector('[data-name=spray_s]');
  for (let i = 0; i < 60 && !(i > 5 && kinds.includes(wanted)); i++) {
    await new Promise((yes) => setTimeout(yes, 500));
    i % 2 ? slider.stepUp() : slider.stepDown();  // its answer goes to this connection as well
    slider.dispatchEvent(new Event('input'));
  }
  socket.close();
  return kinds;
}"""


def test_a_visitor_reads_and_writes_nothing_on_the_server(served, tmp_path):
    """Uploads and the job stay in the visitor's kernel and browser; no path of the server is shown; no code runs."""
    page, folder = served.page, NOTEBOOK.parent
    before = {f: f.stat().st_mtime_ns for f in folder.rglob("*")}
    page.get_by_role("tab", name="Shop").click()
    mine = {"mimeType": "text/csv", "buffer": b"head_id,zone,value,scale\n7,face,45,HRC"}
    page.locator(".fpg input[aria-label=files]").set_input_files([{"name": "<b>mine.csv", **mine}])
    page.get_by_text("hardness readings").first.wait_for(timeout=20_000)
    page.locator("[data-name=spray_s]").focus()
    page.keyboard.press("ArrowLeft")
    ready(page)
    shown = page.content()
    assert str(folder.parent) not in shown and str(Path.home()) + "/" not in shown
    names = "01_the_head.ipynb job.json ../pyproject.toml ..%2fpyproject.toml %2fetc%2fpasswd"
    for name in names.split():
        for place in ("voila/files", "files", "api/contents", "voila/static"):
            answer = page.request.get(f"{page.url.partition('/voila/')[0]}/{place}/{name}")
            assert answer.status in (403, 404, 405), (place, name)
    written = tmp_path / "written"
    kinds = page.evaluate(_EXECUTE, [f"open({str(written)!r}, 'w').close()", "comm_msg"])
    assert {"kernel_info_reply", "comm_msg"} <= set(kinds)
    assert "execute_reply" not in kinds and not written.exists()
    ready(page)
    assert {f: f.stat().st_mtime_ns for f in folder.rglob("*")} == before


def _times(page, name):
    """Milliseconds from a key to the painted answer: the first change of curve and face number, not of the thumb."""
    page.get_by_role("tab", name="Why").click()
    ready(page)
    page.wait_for_timeout(2500)  # what is calculated at rest has ended
    page.evaluate("() => { window.forgepropsTimes = []; }")
    page.locator("[data-name=preheat_c]").focus()
    for i in range(30):
        page.keyboard.press("ArrowRight" if i % 2 else "ArrowLeft")
        page.wait_for_function("n => window.forgepropsTimes.length > n", arg=i)
    record_time(name, page.evaluate("window.forgepropsTimes"))


def test_slider_to_picture_under_voila(served):
    _times(served.page, "01_voila")


def test_the_menu_leads_to_every_page_and_the_job_goes_along(served):
    page = served.page
    page.get_by_label("All pages").click()
    page.get_by_role("button", name="Grades", exact=True).click()
    page.wait_for_selector(".other table", timeout=60_000)
    page.wait_for_function("() => document.querySelector('.fpg h1').textContent.startsWith('1050')")
    assert "03_compare_grades" in page.url


def test_in_jupyterlab_it_fits_and_shortcuts_stay_out(notebook):
    page = notebook.page
    page.wait_for_selector(".fpg", timeout=60_000)
    for size in ((1440, 900), (1000, 720), (1280, 720)):
        fits(page, ".rail, .tile, .says, svg.head, .tabs", *size)
        wide = page.evaluate(
            "() => [...document.querySelectorAll('.fpg :is(.rail, .tile, .tabs)')].filter(e =>"
            " e.scrollWidth > e.clientWidth + 1).map(e => e.className)"
        )
        assert wide == [], size
    _times(page, "01_lab")
    cells = page.locator(".jp-Cell").count()
    for key in "abmz":
        page.keyboard.press(key)
    assert page.locator(".jp-Cell").count() == cells
