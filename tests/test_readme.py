"""What the README promises: commands as CI runs them, a snippet that runs, links that lead somewhere."""

import re
from pathlib import Path

from forgeprops.base.sources import counted, sources
from forgeprops.study.validation import parity, trust_table

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    return re.findall(rf"```{language}\n(.*?)```", README, re.S)


#: Starts of the goals that the short table leaves out: conditions of a fit, and parts of a pooled figure.
_NOT_SHORT = ("rate for", "normalised bars", "Ms, sources", "Bs with Si")
_NOT_SHORT += ("80 % interval of hardness holds, mostly",)


def trust_summary() -> str:
    """Short table of goals and reached errors as Markdown, read and unread bars apart, with what the formulas rest on."""
    table = trust_table()
    lines = ["| what | rows | predicted without | goal | reached |", "|---|---|---|---|---|"]
    for row in table.itertuples():
        if not row.goal.startswith(_NOT_SHORT):
            met = "" if not row.missed_by else ", **missed**"
            goal = row.goal.partition(" (Si")[0]
            lines.append(
                f"| {goal} | {row.rows} | {row.left_out} | {row.wanted} | {row.reached} {row.unit}{met} |"
            )
    for name, what in (("bars", "air-cooled bars"), ("quenched", "quenched bars")):
        p = parity(name)
        off = (p.table["predicted"] - p.table["measured"]).groupby(~p.table["read"])
        for memory, error in off:
            kind = "from memory" if memory else "read"
            lines.append(
                f"| {what}, rows {kind}, mean absolute error | {len(error)} | whole steels |  | {error.abs().mean():.1f} "
                f"{p.unit}, on average {error.mean():+.1f} |"
            )
    return "\n".join([*lines, "", f"Formulas, tables and constants: {counted(sources())}."])


def test_commands_are_those_of_ci_and_open_a_notebook_that_exists():
    tests = [block.strip() for block in blocks("bash") if "pytest" in block]
    assert len(tests) == 1
    assert (ROOT / ".ci" / "run").read_text(encoding="utf-8").splitlines().count(tests[0]) == 1
    for block in (*blocks("bash")[:1], *blocks("powershell")):
        notebook = re.search(r"notebooks[/\\]\S+\.ipynb", block)[0].replace("\\", "/")
        assert (ROOT / notebook).is_file() and '".[notebooks,test]"' in block


def test_snippet_runs(capsys):
    (snippet,) = blocks("python")
    exec(compile(snippet, "README.md", "exec"), {})
    assert "HV" in capsys.readouterr().out


def test_links_picture_first_paragraph_and_table_of_trust():
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert target.startswith("http") or (ROOT / target).exists(), f"{target} is missing"
    first = README.split("\n\n")[1]
    for words in "golf iron|second heat|estimate|metallurgist|hosel|range|limits".split("|"):
        assert words in first
    assert TRUST.search(README)[2].strip() == trust_summary(), "run python tests/test_readme.py"


#: The table between its marks.
TRUST = re.compile(r"(<!-- trust: .*? -->\n)(.*?)(<!-- end of trust -->)", re.S)


if __name__ == "__main__":
    text = TRUST.sub(lambda found: f"{found[1]}\n{trust_summary()}\n\n{found[3]}", README)
    (ROOT / "README.md").write_text(text, encoding="utf-8")
