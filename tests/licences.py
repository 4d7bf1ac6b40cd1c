"""Licences of everything that `forgeprops` and its extras install: ``python tests/licences.py``."""

import re
from importlib import metadata


def dependencies(root: str = "forgeprops") -> set[str]:
    """Distributions that `root` with all extras needs and that are installed here, by their own names."""
    found, waiting = set(), [(root, None)]  # None: all extras
    while waiting:
        name, extras = waiting.pop()
        try:
            needs = metadata.distribution(name).requires or ()
        except metadata.PackageNotFoundError:  # for another system or Python
            continue
        for need in [] if (name, extras) in found else needs:
            package, wanted = re.match(r"([\w.-]+)(?:\[(.*?)\])?", need).groups()
            extra = re.search(r"extra == ['\"](.+?)['\"]", need)
            if not extra or extras is None or extra[1] in extras:
                waiting.append((re.sub(r"[-_.]+", "-", package).lower(), wanted or ""))
        found.add((name, extras))
    return {name for name, _ in found} - {root}


def licence(name: str) -> str:
    """What a distribution says of its licence, in one line; "" if it says nothing."""
    told = metadata.metadata(name)
    kinds = (c for c in told.get_all("Classifier", ()) if c.startswith("License ::"))
    kinds = ", ".join(k for c in kinds if (k := c.rpartition(" :: ")[2]) != "OSI Approved")
    text = (told.get("License") or "").strip().splitlines()
    said = [told.get("License-Expression"), kinds, *text[:1]]
    return next((s[:80] for s in said if s and s != "UNKNOWN"), "")


def main() -> None:
    for name in sorted(dependencies()):
        print(f"{name:32} {metadata.version(name):14} {licence(name) or 'NOT TOLD'}")


if __name__ == "__main__":
    main()
