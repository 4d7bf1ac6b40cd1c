"""Parts of a route and of a head, each with its own names for settings: programs and saved files may give them."""

import dataclasses
import functools
from dataclasses import MISSING

from ..base.errors import check_choice, check_kind
from .settings import check_settings, table


def part(name: str, of: type, what: str, settings: str) -> type:
    """A part of `of`, a frozen dataclass; `settings` names its fields, each with the setting it stands for."""
    rows = dict(pair.split("=") for pair in settings.split())
    own = {f.name: f for f in dataclasses.fields(of)}
    fields = []
    for field, setting in rows.items():
        given = own[setting].default
        options = {} if given is MISSING else {"default": given}
        fields.append((field, own[setting].type, dataclasses.field(**options)))

    def check(self):
        check_settings(self, {field: table()[s] for field, s in rows.items()}, name.lower())

    body = {"__post_init__": check, "SETTINGS": rows}
    made = dataclasses.make_dataclass(name, fields, namespace=body, frozen=True)
    made.__doc__ = f"{what}: {', '.join(rows.values())} of a {of.__name__}."
    made.__module__ = of.__module__
    return made


def takes_parts(of: type, **parts: type) -> None:
    """Let `of` take its settings by `parts` too, when it is made and when it is read from a file, and give them so."""
    by_settings = of.__init__

    @functools.wraps(by_settings)
    def made(self, *values, **given):
        for name in parts.keys() & given.keys():
            kind, where = parts[name], of.__name__.lower()
            value = check_kind(given.pop(name), kind, name, where, f"a {kind.__name__}(...)")
            given |= {s: getattr(value, field) for field, s in kind.SETTINGS.items()}
        by_settings(self, *values, **given)

    def by_setting(content: dict, where: str) -> dict:
        found = dict(content)
        for name, kind in parts.items():
            if isinstance(content.get(name), dict):
                for field, value in found.pop(name).items():
                    check_choice(field, "field", kind.SETTINGS, f"{where}, {name}")
                    found[kind.SETTINGS[field]] = value
        return found

    of.__init__, of.by_setting = made, staticmethod(by_setting)
    for name, kind in parts.items():
        setattr(of, name, property(functools.partial(_seen_as, kind), doc=kind.__doc__))


def _seen_as(kind, whole):
    return kind(**{field: getattr(whole, s) for field, s in kind.SETTINGS.items()})
