"""Names of sliders for people who hear the page: the page's own sliders carry none."""

from __future__ import annotations

#: Runs once on the page.  A slider is labelled for the eye only (ipywidgets 8.1), so its handle takes over the
#: label, and the text of the number beside it; the buttons of a player get words.  Whatever appears later in
#: the same output is named as well.
_SCRIPT = """
const root = this.closest('.jp-OutputArea-output') || this.closest('.widget-box') || document.body;
const players = ['play', 'pause', 'stop', 'repeat'];
const name = () => {
  for (const slider of root.querySelectorAll('.widget-slider')) {
    const words = slider.querySelector('label')?.textContent ?? '';
    const number = slider.querySelector('.widget-readout')?.textContent ?? '';
    for (const handle of slider.querySelectorAll('.noUi-handle')) {
      if (words && handle.getAttribute('aria-label') !== words) handle.setAttribute('aria-label', words);
      if (number && handle.getAttribute('aria-valuetext') !== number)
        handle.setAttribute('aria-valuetext', number);
    }
  }
  for (const button of root.querySelectorAll('.widget-play button:not([aria-label])')) {
    const icon = button.querySelector('i')?.className ?? '';
    const words = players.find(word => icon.includes(word)) ?? (icon.includes('retweet') ? 'repeat' : '');
    if (words) button.setAttribute('aria-label', words);
  }
};
name();
new MutationObserver(name).observe(root, {childList: true, subtree: true, characterData: true});
"""


def slider_names():
    """Return an invisible widget that names the sliders around it; put it among a panel's children."""
    import html

    import ipywidgets as w

    return w.HTML(
        f'<style onload="{html.escape(_SCRIPT, quote=True)}"></style>', layout={"display": "none"}
    )
