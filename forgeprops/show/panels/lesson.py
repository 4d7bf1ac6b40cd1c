"""Why face and hosel of one head differ: six questions, a film of the route, and a task at the end."""

from __future__ import annotations

from ...inputs.route import Route
from ...study.diagram import cooling_diagram
from .. import style
from ..canvas import LiveFigure
from ..controls.question import Question, choice_guess, number_guess
from ..figures import BendGauge, CoolingCurves, HardnessBars
from ..figures.diagram import TransformationDiagram
from ..units import Units, units

#: The steps in order.
STEPS = ("cooling", "water stops", "structure", "hardness", "alloy", "bending")

_PAIR = ("face", "hosel")


class Lesson:
    """Six steps on one head and three steels.

    Parameters
    ----------
    grade, soft, hard : str
        The steel of the lesson, a low-carbon one and one that hardens in air, for comparison.
    head : str
        Library head.
    display_units : Units, optional
    """

    def __init__(self, grade: str = "4130", soft: str = "1030", hard: str = "4140", head: str = "mid-iron",
                 display_units: Units | None = None):  # fmt: skip
        import forgeprops

        self.units = display_units or units()
        self.grades = {"lesson": grade, "soft": soft, "hard": hard}
        made = {name: forgeprops.estimate(forgeprops.grade(g), forgeprops.head(head), Route())
                for name, g in self.grades.items()}  # fmt: skip
        self.results = made
        self.questions: dict[int, Question] = {}
        self._makers = (
            self._cooling,
            self._water_stops,
            self._structure,
            self._hardness,
            self._alloy,
            self._bending,
        )

    def step(self, number: int):
        """Return the widget of step 1 to 6."""
        self.questions[number] = self._makers[number - 1]()
        self.questions[number].widget.add_class(f"fp-step-{number}")
        return self.questions[number].widget

    # ---- the six steps
    def _cooling(self) -> Question:
        face, hosel = (self.results["lesson"].zones[z] for z in _PAIR)
        ratio = hosel.t85_s / face.t85_s

        def answer(guess):
            picture, told = self._curves("log")
            return (
                f"{_verdict(guess, ratio)} The model says {ratio:.0f} times: the face takes "
                f"{face.t85_s:.0f} s, the hosel {hosel.t85_s:.0f} s.",
                "Two things work together. Water takes many times more heat through the same "
                "surface than still air and radiation do. And the face is a thin plate: behind "
                "each square millimetre of its surface stands much less steel, so much less "
                "heat, than behind the surface of the hosel or the body.",
                picture, told,
            )  # fmt: skip

        return Question(
            "Step 1. How much faster does the face cool?",
            "The head leaves the furnace at "
            f"{self.units.temperature_text(Route().preheat.temperature_c)}. The face is "
            f"sprayed, the hosel only hangs in air. From {self.units.temperature_text(800)} down to "
            f"{self.units.temperature_text(500)}: how many times longer does the hosel need?",
            number_guess(1, 100, 1, "times", 5), answer,
        )  # fmt: skip

    def _water_stops(self) -> Question:
        result = self.results["lesson"]
        face = result.zones["face"]
        options = (
            "it stays where it is",
            "it falls on in the air",
            "it rises by about 50 °C",
            "it rises by 200 °C or more",
        )
        right = (
            options[3]
            if face.rebound_c >= 125
            else options[2]
            if face.rebound_c >= 15
            else options[1]
        )
        rise = self.units.step_from_c(face.rebound_c)

        def answer(guess):
            picture, told = self._curves("linear")
            off_c = face.water_off_c
            import numpy as np

            body = result.zones["body"]
            body_c = float(np.interp(result.events["water off"], body.time_s, body.temperature_c))
            return (
                f"{'Right.' if guess == right else 'Look again.'} It rises by {rise:.0f} "
                f"{self.units.temperature}.",
                f"When the water stops the face is at {self.units.temperature_text(off_c)}, but "
                "the body behind and around it is still at "
                f"{self.units.temperature_text(body_c)}. Heat flows from the heavy body into the "
                "thin face. If the face had already turned hard, this tempers it: it gets softer "
                "and tougher. If the water stopped too early, the face had not turned hard yet, "
                "and now it never will.",
                picture, told,
            )  # fmt: skip

        return Question(
            "Step 2. The water stops. What does the temperature of the face do in the next minute?",
            f"The water ran for {result.route.spray.duration_s:.0f} s and the face is now far colder than "
            "the rest.",
            choice_guess(options), answer,
        )  # fmt: skip

    def _structure(self) -> Question:
        hosel = self.results["lesson"].zones["hosel"].fractions
        kinds = {"ferrite and pearlite": hosel["ferrite"] + hosel["pearlite"], "bainite": hosel["bainite"],
                 "martensite": hosel["martensite"]}  # fmt: skip
        right = max(kinds, key=kinds.get)

        def answer(guess):
            picture, told = self._diagrams(("lesson",))
            return (
                f"{'Right.' if guess == right else 'Look again.'} Mainly {right}: "
                f"{100 * kinds[right]:.0f} %.",
                "A cooling curve is a path across a map. The first region it meets decides: near "
                "the top, where atoms move easily and there is time, soft ferrite and pearlite; "
                "further down bainite; and a path that slips past all of them to the left falls "
                "below Ms and becomes martensite, the hardest. The face passes left of the "
                "regions that the hosel meets.",
                picture, told,
            )  # fmt: skip

        return Question(
            f"Step 3. What is the hosel made of? ({self.grades['lesson']})",
            "Slow cooling gives the atoms time to sort themselves into ferrite and pearlite; "
            "less time gives bainite; no time at all gives martensite. The hosel cools in air.",
            choice_guess(kinds), answer,
        )  # fmt: skip

    def _hardness(self) -> Question:
        result = self.results["lesson"]
        face, hosel = (result.zones[z] for z in _PAIR)
        ratio = face.hardness_hv / hosel.hardness_hv

        def answer(guess):
            live, (ax,) = _figure(900, 230, 1, "hardness of face and hosel")
            bars = HardnessBars(ax, _PAIR, self.units)
            bars.update(result)
            live.refresh(static=True)
            return (
                f"{_verdict(guess, ratio)} The model says {ratio:.1f} times: face "
                f"{face.hardness_hv:.0f} HV, hosel {hosel.hardness_hv:.0f} HV.",
                f"Same steel, same furnace, and yet: the face is {_main(face)}, the hosel "
                f"{_main(hosel)}. The hardness of each constituent depends on the carbon and on "
                "how quickly it formed; the zone's hardness is their mix. The black lines are "
                "the honest part: where eight heads out of ten should lie.",
                live.widget, bars.describe(result),
            )  # fmt: skip

        return Question(
            "Step 4. How many times harder than the hosel is the face?",
            "You have seen how each cools and what each is made of. Now the number on the hardness tester.",
            number_guess(1, 5, 0.1, "times", 1.2), answer,
        )  # fmt: skip

    def _alloy(self) -> Question:
        soft, hard = self.results["soft"].zones["hosel"], self.results["hard"].zones["hosel"]
        more = hard.hardness_hv - soft.hardness_hv

        def answer(guess):
            picture, told = self._diagrams(("soft", "hard"), zones=("hosel",))
            return (
                f"{_verdict(guess, more)} The model says {more:.0f} HV: {soft.hardness_hv:.0f} HV in "
                f"{self.grades['soft']}, {hard.hardness_hv:.0f} HV in {self.grades['hard']}.",
                "The hosel cools the same way in both heads. But chromium and molybdenum (and "
                "more carbon) slow the sorting of the atoms: the soft regions move to the right, "
                "to longer times. The same path in air now slips past them and meets bainite. "
                "Such a hosel hardens although no water touched it.",
                picture, told,
            )  # fmt: skip

        return Question(
            f"Step 5. Another steel: {self.grades['hard']} in place of {self.grades['soft']}",
            "Same head, same furnace, same air. By how many HV is the hosel harder?",
            number_guess(0, 400, 5, "HV", 20), answer,
        )  # fmt: skip

    def _bending(self) -> Question:
        soft, hard = self.results["soft"], self.results["hard"]

        def answer(guess):
            live, axes = _figure(960, 240, 2, "how far the two hosels bend")
            told = []
            for name, ax in zip(("soft", "hard"), axes, strict=True):
                gauge = BendGauge(ax)
                gauge.update(self.results[name])
                style.title(ax, f"{self.grades[name]}: how far the hosel bends")
                told.append(f"{self.grades[name]}: {gauge.describe(self.results[name])}")
            live.refresh(static=True)
            right = soft.hosel.allowed_deg
            return (
                f"{_verdict(guess, right)} The model says {right:.1f}° in {self.grades['soft']} and "
                f"{hard.hosel.allowed_deg:.1f}° in {self.grades['hard']}.",
                "A hard hosel springs back more, needs more force and cracks sooner. That is the "
                "bargain of this trade: what makes the face strong makes the hosel stubborn. The "
                "way out is to cool the two differently, which is what the spray does, and to "
                "choose a steel whose hosel stays soft in air.",
                live.widget, " ".join(told),
            )  # fmt: skip

        return Question(
            "Step 6. The bench: how many degrees does the hosel take?",
            f"Take {self.grades['soft']}, the soft one. How many degrees may you bend it, once, cold?",
            number_guess(0, 10, 0.1, "degrees", 1.0), answer,
        )  # fmt: skip

    # ---- pictures
    def _curves(self, scale: str):
        result = self.results["lesson"]
        live, (ax,) = _figure(900, 330, 1, "cooling curves")
        curves = CoolingCurves(
            ax, (*_PAIR, "body") if scale == "linear" else _PAIR, scale, self.units
        )
        curves.update(result)
        live.refresh(static=True)
        return live.widget, curves.describe(result)

    def _diagrams(self, names, zones=_PAIR):
        live, axes = _figure(
            1060 if len(names) > 1 else 900,
            380,
            len(names),
            "cooling paths across the transformation diagram",
        )
        told = []
        for name, ax in zip(names, axes, strict=True):
            result = self.results[name]
            diagram = diagram_of(result)
            picture = TransformationDiagram(ax, zones, self.units)
            picture.update(result, diagram)
            told.append(picture.describe(result, diagram))
        live.refresh(static=True)
        return live.widget, " ".join(told)


def diagram_of(result):
    """Diagram of a result's steel with the grain its hosel has, to half a number."""
    grain = round(2 * min(max(result.zones["hosel"].grain_astm, 0.0), 14.0)) / 2
    return cooling_diagram(result.steel, grain)


def _figure(width_px: int, height_px: int, count: int, name: str):
    live = LiveFigure(width_px, height_px, name)
    live.widget.add_class("fp-lesson-picture")
    with style.look():
        axes = live.figure.subplots(1, count, squeeze=False)[0]
    return live, axes


def _main(zone) -> str:
    phase, share = max(zone.fractions.items(), key=lambda pair: pair[1])
    return f"{100 * share:.0f} % {phase}"


def _verdict(guess: float, right: float) -> str:
    """How good a guess in numbers was, kindly."""
    if abs(guess - right) <= 0.25 * abs(right):
        return "Good guess."
    return "More than you thought." if right > guess else "Less than you thought."
