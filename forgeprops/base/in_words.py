"""Results that show themselves in sentences; a notebook adds their table and the short caution."""

import html

from .cautions import SHORT


class InWords:
    """A result with `words`: its text in a console, and in a notebook beside a table where it has one."""

    def words(self) -> str:
        """The answer in sentences."""
        raise NotImplementedError

    def shown(self):
        """Table under the words in a notebook (DataFrame); None for none."""
        return None

    def __repr__(self) -> str:
        return self.words()

    def _repr_html_(self) -> str:
        lines, table = [html.escape(line) for line in self.words().splitlines()], self.shown()
        said = f"<p>{lines[0]}</p>" if len(lines) == 1 else f"<ul><li>{'<li>'.join(lines)}</ul>"
        if table is not None and len(table):
            table = table.to_html(index=False, escape=True, float_format=lambda v: f"{v:.4g}")
            said += f"{table}<p><small>{SHORT}</small></p>"
        return f"<div style='max-width:900px'>{said}</div>"
