"""TEST DOUBLE of an estimate, for drawing and clicking only: smooth invented curves, no physics."""

from types import SimpleNamespace

import numpy as np


def result(preheat_c=930.0, flux=10.0, spray_s=6.0, delay_s=2.0, spray=True, face_hv=None):
    out, t = (
        900.0,
        np.concatenate([np.linspace(0, 900, 50)[:-1], 900 + np.geomspace(0.01, 3000, 400)]),
    )
    into_die = 904.0
    stroke = 904.55
    on, off = stroke + delay_s, stroke + delay_s + spray_s
    zones = {}
    for zone, loss, wet, hv in (
        ("face", 0.030, 1.0, 430),
        ("rim", 0.025, 0.8, 395),
        ("body", 0.0026, 0.06, 225),
        ("neck", 0.004, 0.01, 232),
        ("hosel", 0.0065, 0.0, 246),
    ):
        temp = np.where(t < out, 25 + (preheat_c - 25) * (1 - np.exp(-t / 150)), preheat_c)
        sky = np.maximum(t - out, 0)
        body = 25 + (preheat_c - 25) * np.exp(-0.0026 * sky)
        temp = np.where(
            t >= out,
            25
            + (preheat_c - 25)
            * np.exp(-(loss if zone in ("hosel", "neck", "body") else 0.006) * sky),
            temp,
        )
        if spray and wet > 0.05:
            depth = min(1.0, 0.5 + 0.06 * flux) * wet
            dip = np.clip((t - on) / 1.5, 0, None)
            fall = depth * (1 - np.exp(-dip)) * (t <= off) + depth * (
                1 - np.exp(-(off - on) / 1.5)
            ) * np.exp(-(t - off) / 25.0) * (t > off)
            temp = temp - fall * (np.minimum(temp, body) - 120) * (t > on)
        zones[zone] = SimpleNamespace(
            time_s=t,
            temperature_c=temp,
            front_c=temp,
            hardness_hv=float(face_hv if face_hv and zone == "face" else hv + 2 * (flux - 10)),
            hardness_low_hv=hv - 30.0 + 2 * (flux - 10),
            hardness_high_hv=hv + 30.0 + 2 * (flux - 10),
            hardness_hrc=None,
            austenite_share=1.0,
            grain_astm=7.0,
            peak_c=preheat_c,
            die_c=float(np.interp(into_die, t, temp)),
            water_c=float(np.interp(on, t, temp)),
            biot=0.05,
            fractions=(
                {
                    "ferrite": 0.02,
                    "pearlite": 0.0,
                    "bainite": 0.30,
                    "martensite": 0.66,
                    "austenite": 0.02,
                }
                if wet > 0.5
                else {
                    "ferrite": 0.42,
                    "pearlite": 0.12,
                    "bainite": 0.46,
                    "martensite": 0.0,
                    "austenite": 0.0,
                }
            ),
        )
    events = {
        "out of furnace": out,
        "in die": into_die,
        "stroke": stroke,
        "end of stroke": stroke + 0.05,
    }
    if spray:
        events |= {"water on": on, "water off": off}
    hosel = SimpleNamespace(
        allowed_deg=2.4,
        allowed_deg_low=1.7,
        allowed_deg_high=3.2,
        governed_by="crack",
        bar_force_n=180.0,
        springback_deg=0.4,
    )
    return SimpleNamespace(
        zones=zones,
        events=events,
        hosel=hosel,
        face=SimpleNamespace(margin=1.4, least_thickness_mm=2.3),
        warnings=(),
        critical=CRITICAL,
        sources=(),
        without_spray={"face": 250.0} if spray else None,
    )


CRITICAL = SimpleNamespace(ae1_c=728.0, ae3_c=801.0, bs_c=545.0, ms_c=378.0)
