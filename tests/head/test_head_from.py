"""A head from seven numbers: the mass closes, what is given stays, what is assumed is listed."""

import pytest
from checks import refuses

import forgeprops as fp
from forgeprops.inputs.drawing import Block

SEVEN = {"mass_g": 270, "face_mm": 2.4, "blade_mm": (76, 45), "hosel_mm": (13.4, 9.4, 60)}


@pytest.mark.parametrize("like", fp.heads())
def test_seven_numbers_close_the_mass_on_every_template(like):
    made = fp.head_from(**SEVEN, like=like)
    assert made.mass_g() == pytest.approx(270, abs=1e-6) and made.declared_mass_g == 270
    assert (made.rim.length_mm, made.rim.height_mm, made.face.thickness_mm) == (76, 45, 2.4)
    assert (made.hosel.outside_mm, made.hosel.bore_mm, made.hosel.length_mm) == (13.4, 9.4, 60)
    assert made.note.startswith(f"Assumed from {like}: face") and "bore" in made.note


def test_the_templates_own_numbers_give_the_template_back():
    like = fp.head("wedge")
    made = fp.head_from(like.mass_g(), 3.4, (73, 48), (13.6, 9.4, 50), like="wedge", name="again")
    for part in ("face", "rim", "neck", "hosel"):
        assert getattr(made, part) == getattr(like, part)
    for mine, theirs in zip(made.body, like.body, strict=True):
        assert isinstance(mine, Block) and mine.width_mm == pytest.approx(theirs.width_mm)


@pytest.mark.parametrize(("change", "says"), [
    ({"mass_g": 590}, r"the shape of mid-iron takes \d+ to \d+ g"),
    ({"mass_g": "heavy"}, "must be a number"),
    ({"hosel_mm": (13.4, 9.4)}, r"must be \(outside, bore, length\) in mm"),
    ({"hosel_mm": (10, 9.4, 60)}, "hosel wall is 0.30 mm"),
    ({"face_mm": 0.2}, "Face thickness 0.2 mm"),
    ({"like": "iron 7"}, "head 'iron 7' is unknown"),
    ({"like": 7}, "must be a Head"),
])  # fmt: skip
def test_what_cannot_be_is_one_sentence(change, says):
    refuses(says, fp.head_from, **{**SEVEN, **change})
