"""The shop file: comes back as saved, and every damage gives one clear error."""

import json
import pickle
import subprocess
import sys

import pytest
from checks import refuses
from hypothesis import given
from hypothesis import strategies as st

from forgeprops.inputs.shop import Shop, load_shop

FITTED = Shop(
    spray=1.18, delay_s=0.35, name="invented bay 2", fitted=("spray", "delay_s"), standard_errors=(0.06, 0.08),
    correlations=((1.0, -0.4), (-0.4, 1.0)), measured_on="2025-03-01", data_files=("traces.csv",), n_readings=1234,
)  # fmt: skip


def test_default_is_neutral_and_positions_keep_their_meaning():
    assert Shop() == Shop(1.0, 0.8, 1.0, 1.0, 0.0, "neutral")
    assert Shop().fitted == ()
    assert Shop().standard_error("spray") == 0.0
    assert hash(Shop()) == hash(Shop())
    assert pickle.loads(pickle.dumps(FITTED)) == FITTED


def test_comes_back_as_saved(tmp_path):
    path = tmp_path / "bay2.shop.json"
    FITTED.save(path)
    assert load_shop(path) == load_shop(path.read_bytes(), "bay2.shop.json") == FITTED
    assert len(path.read_text().splitlines()) < 60 and '"spray": 1.18' in path.read_text()
    refuses("kept", Shop().save, path)
    assert load_shop(path) == FITTED
    Shop().save(path, overwrite=True)
    assert load_shop(path) == Shop()


numbers = st.floats(0.1, 1.0)


names = st.text(min_size=1, max_size=30).filter(lambda s: s.strip() and s.isprintable())
four = dict.fromkeys(("spray", "emissivity", "air", "die"), numbers)


@given(st.builds(Shop, **four, delay_s=st.floats(-5, 60), name=names, n_readings=st.integers(0, 10**6)))  # fmt: skip
def test_any_shop_comes_back(tmp_path_factory, shop):
    path = tmp_path_factory.mktemp("shop") / "s.json"
    shop.save(path)
    back = load_shop(path)
    assert back.spray == shop.spray and back.delay_s == shop.delay_s
    # half a surrogate pair cannot be saved as it is
    assert back == shop or "\\ud" in path.read_text()


@pytest.mark.parametrize("change, message", [
    (dict(version=2), "newer forgeprops"), (dict(version=None), "version None"),
    (dict(format="x"), "says 'x'"), (dict(extra=1), "unknown"),
    (dict(valuse={}), "did you mean 'values'"), (dict(values=[]), "one number per name"),
    (dict(values={"spray": 1.0}), "missing"), (dict(name=""), "printable"),
    (dict(name=7), "printable"), (dict(measured_on="1 March"), "must be a day"),
    (dict(n_readings=-1), "Number of readings -1"), (dict(n_readings="many"), "must be a number"),
    (dict(fitted=["sprya"]), "did you mean 'spray'"),
    (dict(fitted=["spray", "spray"]), "twice"), (dict(fitted="spray"), "must be a list"),
    (dict(standard_errors=[0.1]), "1 standard errors for 2"),
    (dict(standard_errors=[0.1, -0.1]), "standard error"),
    (dict(correlations=[[1.0]]), "2 by 2"),
    (dict(correlations=[[1, 0.5], [0.4, 1]]), "impossible"),
    (dict(correlations=[[1, 2], [2, 1]]), "Correlation 2"),
    (dict(correlations=3), "must be a list"), (dict(data_files=[None]), "give texts"),
    (dict(data_files={}), "must be a list"),
])  # fmt: skip
def test_damaged_files(tmp_path, change, message):
    FITTED.save(tmp_path / "s.json")
    content = json.loads((tmp_path / "s.json").read_text()) | change
    refuses(f"(?i){message}", load_shop, json.dumps(content).encode(), "s.json")


def test_estimates_of_every_kind_take_the_file(tmp_path):
    import forgeprops as fp

    file = tmp_path / "bay.shop.json"
    FITTED.save(file)
    own = fp.estimate(fp.grade("4130"), shop=FITTED)
    for path in (file, str(file)):
        found = fp.estimate("4130", shop=path).zones["face"].hardness_hv
        assert found == own.zones["face"].hardness_hv
        many = fp.estimate_many("4130", shops=path)
        assert many["face_hardness_hv"][0] == pytest.approx(own.zones["face"].hardness_hv, rel=1e-9)
    refuses("does not exist", fp.estimate, fp.grade("4130"), shop=tmp_path / "no.shop.json")
    command = [sys.executable, "-m", "forgeprops", "--shop", str(file), "--json"]
    said = subprocess.run(command, capture_output=True, text=True, check=True)
    face = json.loads(said.stdout)["zones"]["face"]["hardness_hv"]
    assert face == pytest.approx(own.zones["face"].hardness_hv, abs=0.1)
