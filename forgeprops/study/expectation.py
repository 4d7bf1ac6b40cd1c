"""Where a setting moves the face the other way round than a forge expects: one sentence for each."""

import numpy as np

from ..answer.evaluation import evaluate
from ..forging.cautions import IDLE_WATER_HV
from ..inputs.cases import spread
from ..inputs.settings import setting

#: Setting → what is said of it, the usual expectation of the face (+1: harder), and the values tried beyond the present one.
_EXPECTED = {
    "delay_s": ("A longer delay", -1.0, np.arange(0.0, 20.1, 1.0)),
    "preheat_c": ("A hotter furnace", 1.0, np.arange(0.0, 160.1, 10.0)),
}


def against_expectation(result) -> list[str]:
    """Sentences on delay and preheat where the face of this case goes against the usual expectation.

    Silent where the change is below 20 HV, about one standard error of the method.
    """
    found = []
    for name, (words, sign, more) in _EXPECTED.items():
        what, now = setting(name), result.route.setting(name)
        if now is None or not result.sprayed:
            continue
        most = max(what.slider[1] + more[-1] / 2.0, now)  # the present value is always one of them
        values = now + more[now + more <= most]
        case = (result.steel, result.head, result.route, result.shop)
        hv = evaluate(spread(*case, {name: values})).hardness_hv[:, 0]
        against = -sign * (hv - hv[0])
        k = int(against.argmax())
        if against[k] < IDLE_WATER_HV:
            continue
        text = (
            f"{words} makes this face {'softer' if sign > 0 else 'harder'}: {hv[0]:.0f} HV at {now:g} {what.unit}, "
            f"{hv[k]:.0f} HV at {values[k]:g} {what.unit}"
        )
        turned = k < len(hv) - 1 and against[k] - against[-1] >= IDLE_WATER_HV
        turn = f"; from there on it {'hardens' if sign > 0 else 'softens'} again" if turned else ""
        found.append(f"{text}{turn}.")
    return found
