"""06_shop_data in a real browser: files chosen and typed, heats judged, shop fitted, saved and used, causes ranked."""

import re
from pathlib import Path

import pytest

import forgeprops as fp

NOTEBOOK = Path(__file__).resolve().parents[2] / "notebooks" / "06_shop_data.ipynb"
HEATS = {
    "X1": {"C": 0.30, "Mn": 0.50, "Si": 0.25, "Cr": 0.95, "Mo": 0.20},
    "X2": {"C": 0.29, "Mn": 0.45, "Si": 0.22, "Cr": 0.88, "Mo": 0.17},
}


def press_go(notebook, panel):
    """Press the panel's button and wait until its work has ended."""
    go = notebook.page.locator(f"{panel} .fp-go")
    go.scroll_into_view_if_needed()
    words = f"{panel} .fp-progress-words"
    notebook.page.evaluate(  # what an earlier run said must not be taken for an answer
        "css => { for (const part of document.querySelectorAll(css + ' *')) part.replaceChildren(); }",
        words,
    )
    go.click()
    notebook.page.wait_for_function(
        "([panel, css]) => { const words = document.querySelector(css).innerText.trim();"
        " return words && !words.startsWith('0 of') && document.querySelector(`${panel} .fp-stop`).disabled; }",
        arg=[panel, words],
        timeout=200_000,
    )
    notebook.page.wait_for_timeout(300)


def fill(notebook, css, text):
    field = notebook.page.locator(f"{css} input").first
    field.fill(text)
    field.press("Enter")
    notebook.page.wait_for_timeout(300)


def cells(notebook, panel):
    """Rows of the panel's table by the first cell, as texts by column."""
    rows = notebook.page.locator(f"{panel} table tr").all()
    head = rows[0].locator("th").all_inner_texts()
    found = [dict(zip(head, row.locator("td").all_inner_texts(), strict=True)) for row in rows[1:]]
    return {row["heat"]: row for row in found}


@pytest.fixture(scope="module")
def certificates(tmp_path_factory):
    """A mill's file: decimal commas, two good heats, one that is broken."""
    file = tmp_path_factory.mktemp("mill") / "july.csv"
    lines = ["Schmelze;Güte;C;Mn;Si;Cr;Mo"]
    for heat, contents in HEATS.items():
        lines.append(
            ";".join([heat, "4130", *(f"{v:.2f}".replace(".", ",") for v in contents.values())])
        )
    file.write_text("\n".join([*lines, "X3;4130;3,1;0,5;0,2;0,9;0,2"]) + "\n", encoding="utf-8")
    return file


def test_chosen_certificates_are_judged_at_the_settings_shown(notebook, certificates):
    with notebook.page.expect_file_chooser() as asked:
        notebook.page.locator(".fp-judge .fp-upload").first.click()
    asked.value.set_files(certificates)
    notebook.page.wait_for_timeout(800)
    assert "july.csv" in notebook.page.locator(".fp-judge .fp-path input").first.input_value()
    notebook.press(".fp-judge .fp-flux", "ArrowRight", 4)
    flux = notebook.reading(".fp-judge .fp-flux")
    assert flux == 14.0
    press_go(notebook, ".fp-judge")
    notebook.screenshot("06_shop_data_judged")
    shown = cells(notebook, ".fp-judge")
    assert list(shown) == ["X1", "X2", "X3"] and shown["X3"]["verdict"] == "hold"
    limits = fp.Limits(face_hardness_hv=(380, 470), hosel_allowed_deg=(1.5, None))
    for heat, certificate in zip(HEATS, fp.read_certificates(certificates), strict=False):
        assert dict(certificate.steel.composition) == HEATS[heat]
        judged = fp.judge_heat(certificate, "mid-iron", fp.Route().with_(flux=flux), limits)
        assert shown[heat]["verdict"] == judged.verdict
        for name in ("face_hardness_hv", "hosel_hardness_hv", "hosel_allowed_deg"):
            assert float(shown[heat][name]) == pytest.approx(judged.results[name], rel=0.002)
        assert f"Face {judged.results['face_hardness_hv']:.0f} HV" in notebook.words(
            ".fp-judge .fp-headline"
        )
    assert "note(s) on july.csv" in notebook.words(".fp-judge")


def test_a_missing_file_is_told_beside_the_button(notebook):
    fill(notebook, ".fp-tracking .fp-path", "/no/such/log.csv")
    press_go(notebook, ".fp-tracking")
    assert "does not exist" in notebook.words(".fp-tracking .fp-progress-words")


def test_shop_is_fitted_saved_once_and_used(notebook):
    press_go(notebook, ".fp-fit")
    notebook.screenshot("06_shop_data_fitted")
    words = notebook.words(".fp-fit .fp-headline")
    assert float(re.search(r"Spray ([\d.]+)", words).group(1)) == pytest.approx(1.25, abs=0.02)
    assert "settled by the data" in words
    save = notebook.page.locator(".fp-fit .fp-save-shop")
    fill(notebook, ".fp-fit .fp-save-as", "bay.shop.json")
    save.click()
    notebook.page.locator(".fp-fit").get_by_text("saved as bay.shop.json").wait_for(timeout=20_000)
    save.click()
    notebook.page.locator(".fp-fit").get_by_text("exists already and is kept").wait_for(
        timeout=20_000
    )
    before = float(cells(notebook, ".fp-judge")["X1"]["face_hardness_hv"])
    fill(notebook, ".fp-judge .fp-shop-file .fp-path", "bay.shop.json")
    press_go(notebook, ".fp-judge")
    after = float(cells(notebook, ".fp-judge")["X1"]["face_hardness_hv"])
    assert after > before + 10.0  # this shop's water works better than the published law


def test_causes_are_ranked_with_the_check_that_parts_them(notebook):
    fill(notebook, ".fp-cause .fp-measured-face", "400 hard 396")
    press_go(notebook, ".fp-cause")
    assert "allowed are numbers in HV" in notebook.words(".fp-cause .fp-progress-words")
    fill(notebook, ".fp-cause .fp-measured-face", "400 405 396")
    fill(notebook, ".fp-cause .fp-usual-face", "440")
    fill(notebook, ".fp-cause .fp-usual-hosel", "236")
    press_go(notebook, ".fp-cause")
    notebook.page.locator(".fp-cause .fp-headline").scroll_into_view_if_needed()
    notebook.screenshot("06_shop_data_cause")
    words = notebook.words(".fp-cause .fp-headline")
    expected = fp.find_cause(
        {"face": [400, 405, 396], "hosel": [236, 231, 240]},
        "4130",
        usual={"face": 440, "hosel": 236},
    )
    assert "Face 400 HV where 440 is expected: -40 HV" in words and "Check: " in words
    assert all(line in words for line in expected.report().splitlines()[:3])


def test_spray_curve_gives_the_multiplier_of_the_demo_shop(notebook):
    press_go(notebook, ".fp-spray-curve")
    words = notebook.words(".fp-spray-curve .fp-headline")
    assert float(re.search(r"about ([\d.]+)", words).group(1)) == pytest.approx(1.25, abs=0.04)


def test_settings_are_saved_and_loaded(notebook):
    fill(notebook, ".fp-cause .fp-file", "cause_of_may.json")
    notebook.page.locator(".fp-cause .fp-save").click()
    notebook.page.locator(".fp-cause").get_by_text("saved as cause_of_may.json").wait_for(
        timeout=20_000
    )
    fill(notebook, ".fp-judge .fp-path", "mill.csv")
    notebook.press(".fp-judge .fp-chance-percent", "End")
    assert notebook.reading(".fp-judge .fp-chance-percent") == 95.0
    fill(notebook, ".fp-judge .fp-file", "strict.json")
    notebook.page.locator(".fp-judge .fp-save").click()
    notebook.page.locator(".fp-judge").get_by_text("saved as strict.json").wait_for(timeout=20_000)
    notebook.screenshot("06_shop_data_saved")
    notebook.page.locator(".fp-judge .fp-reset").click()
    notebook.page.wait_for_timeout(500)
    assert notebook.reading(".fp-judge .fp-chance-percent") == 50.0
