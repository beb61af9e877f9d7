"""Pages of a record in a browser: nothing is cut, and nothing overlaps.

On A4, on Letter and on a telephone. A browser lays out a copy of each page in which a
script measures every text. Without a browser the tests are skipped, and say so.
"""

from __future__ import annotations

import html
import json
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from ledger import hold
from test_record import FIRST, filled
from wheel_alignment.record import Record

BROWSERS = ("chromium", "chromium-browser", "chrome", "google-chrome")
BROWSER = next(filter(None, map(shutil.which, BROWSERS)), None)

pytestmark = pytest.mark.skipif(
    BROWSER is None, reason=f"NOT RUN: no browser, one of {', '.join(BROWSERS)}"
)

MM = 96 / 25.4
"""Pixels of a browser."""

PAPERS = {
    # Paper less margins of 14 mm on either side.
    "A4": (round((210 - 28) * MM), True),
    "Letter": (round((215.9 - 28) * MM), True),
    "telephone": (390, False),
}

MEASURE = """
<script>
addEventListener("load", () => {
  const width = document.body.getBoundingClientRect().width;
  const wide = [...document.querySelectorAll("body *")].filter((element) => {
    const box = element.getBoundingClientRect();
    return box.width > 0 && (box.right > width + 1 || box.left < -1);
  }).map((element) => element.tagName + ": " + element.textContent.slice(0, 60));
  const boxes = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const text = walk.currentNode;
    if (!text.data.trim() || text.parentElement.closest("script, style, title, desc")) continue;
    const range = document.createRange();
    range.selectNodeContents(text);
    for (const box of range.getClientRects()) {
      // Lines stand closer than a font is high, with its room for marks.
      const air = box.height * 0.2;
      if (box.width > 1) boxes.push([box.left, box.top + air, box.right, box.bottom - air, text.data.trim()]);
    }
  }
  const over = [];
  boxes.sort((a, b) => a[1] - b[1]);
  for (let i = 0; i < boxes.length; i++) {
    for (let j = i + 1; j < boxes.length && boxes[j][1] < boxes[i][3]; j++) {
      const [a, b] = [boxes[i], boxes[j]];
      if (Math.min(a[2], b[2]) - Math.max(a[0], b[0]) > 1 && Math.min(a[3], b[3]) - Math.max(a[1], b[1]) > 1)
        over.push(a[4].slice(0, 40) + " | " + b[4].slice(0, 40));
    }
  }
  const cut = [...document.querySelectorAll("svg text")].filter((text) => {
    const [box, frame] = [text.getBoundingClientRect(), text.closest("svg").getBoundingClientRect()];
    return box.left < frame.left - 1 || box.right > frame.right + 1 || box.bottom > frame.bottom + 1;
  }).map((text) => text.textContent);
  const found = document.createElement("pre");
  found.id = "found";
  found.textContent = JSON.stringify({
    width, scroll: document.body.scrollWidth, boxes: boxes.length, elements: document.querySelectorAll("main *").length, wide, over, cut,
  });
  document.body.append(found);
});
</script>
"""


def laid_out(page: str, width: int, paper: bool, folder: Path) -> dict[str, Any]:
    """What the browser finds of a page of some width, as it is printed or shown."""
    # The copy alone may run a script.
    page = re.sub(r"<meta http-equiv[^>]*>", "", page, count=1)
    if paper:
        assert "@media print" in page
        page = page.replace("@media print", "@media all")
    page = page.replace("</body>", MEASURE + "</body>")
    path = folder / "page.html"
    path.write_text(page, encoding="utf-8")
    assert BROWSER is not None
    done = subprocess.run(
        [
            BROWSER,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--hide-scrollbars",
            f"--user-data-dir={folder / 'profile'}",
            # No window of it is as narrow as a telephone: the body is.
            f"--window-size={max(width, 600)},1200",
            "--dump-dom",
            path.as_uri(),
        ],
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    found = re.search(r'<pre id="found">(.*?)</pre>', done.stdout, re.DOTALL)
    assert found, done.stderr[-2000:]
    measured: dict[str, Any] = json.loads(html.unescape(found[1]))
    return measured


LONG = {
    "words": "a long remark of the workshop " * 40_000,
    "one word": "W" * 1_000_000,
    "marks": "e" + "\u0301" * 500_000,
    "right to left": "שלום العربية " * 80_000,
    "markup": "</td></tr></table><div style='position:fixed'>" * 20_000,
}


@pytest.mark.parametrize("paper", PAPERS)
def test_nothing_is_cut_and_nothing_overlaps(paper: str, tmp_path: Path) -> None:
    width, printed = PAPERS[paper]
    whole = Record.from_json(FIRST)
    pages = {
        "before and after": whole.to_html(),
        "before alone": Record(whole.identity, before=whole.before).to_html(),
    }
    pages |= {name: filled(words).to_html() for name, words in LONG.items()}
    faults = []
    for name, page in pages.items():
        # A body of that width, whatever the window of the browser.
        page = page.replace("<body>", f'<body style="width:{width}px;margin:0">')
        found = laid_out(page, width, printed, tmp_path)
        assert found["boxes"] > 150, name
        told = {key: found[key][:5] for key in ("wide", "over", "cut") if found[key]}
        assert found["width"] == width
        if found["scroll"] > width:
            told["scroll"] = found["scroll"]
        faults.append(len(told))
        assert not told, f"{name}: {told}"
    hold(
        "record::Record::to_html",
        against="Chromium",
        quantity="pages on A4, Letter and a telephone with a text cut or covered",
        off=faults,
        allowed=0.0,
        unit="1",
        why="none may differ",
    )


def test_hostile_fields_leave_the_page_its_elements(tmp_path: Path) -> None:
    width, printed = PAPERS["A4"]
    # Both are cut: the sentences that say so are elements too.
    plain = laid_out(filled("a" * 700).to_html(), width, printed, tmp_path)
    hostile = laid_out(filled("</td><b>x" * 200).to_html(), width, printed, tmp_path)
    hold(
        "record::Record::to_html",
        against="Chromium",
        quantity="elements of a page that a hostile text adds or takes away",
        off=hostile["elements"] - plain["elements"],
        allowed=0.0,
        unit="1",
        why="none may differ",
    )
