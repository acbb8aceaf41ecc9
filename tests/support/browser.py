"""Debian's chromium without a window, for tests that look at pages as a reader's browser shows them."""

import json
import os
import re
import shutil
import subprocess
import warnings
from pathlib import Path
from typing import Any

import pytest

_OPTIONS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--virtual-time-budget=4000",
)


def browser() -> str:
    """Path of the browser; without one the test is skipped aloud."""
    found = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if not found:
        warnings.warn("chromium is not installed: pages were not looked at in a browser", stacklevel=2)
        pytest.skip("chromium is not installed")
    return found


def _run(chromium: str, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [chromium, *_OPTIONS, *words], capture_output=True, text=True, check=False, timeout=300
    )


def dumped(chromium: str, page: Path, *, width: int = 1280) -> str:
    """The document after its scripts have run."""
    return _run(chromium, f"--window-size={width},900", "--dump-dom", f"file://{page}").stdout


def printed_pages(chromium: str, page: Path) -> int:
    """Sheets of paper that a page takes."""
    printed = page.with_suffix(".pdf")
    _run(chromium, "--no-pdf-header-footer", f"--print-to-pdf={printed}", f"file://{page}")
    return len(re.findall(rb"/Type\s*/Page\b", printed.read_bytes()))


def console_errors(chromium: str, page: Path) -> list[str]:
    """What scripts complain of."""
    said = _run(chromium, "--enable-logging=stderr", "--dump-dom", f"file://{page}").stderr
    return [line for line in said.splitlines() if "CONSOLE" in line]


def violations(chromium: str, page: Path, *, width: int = 1280) -> list[dict[str, Any]]:
    """What axe-core finds against WCAG 2.1 A and AA: rule, and the elements that break it.

    The script comes with the test package ``axe-core-python`` (axe-core: Mozilla Public License 2.0).
    """
    axe = pytest.importorskip("axe_core_python", reason="axe-core-python is not installed").__path__[0]
    script = (Path(axe) / "axe.min.js").read_text(encoding="utf-8")
    run = (
        "const rules = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'best-practice'];"
        "axe.run(document, {runOnly: rules}).then((found) => {"
        "const first = (v) => v.nodes.slice(0, 5).map((n) => n.html);"
        "const told = found.violations.map((v) => ({id: v.id, nodes: first(v)}));"
        "const out = document.createElement('script'); out.type = 'application/json'; out.id = 'axe-found';"
        "out.textContent = JSON.stringify(told).replace(/</g, '\\\\u003c'); document.body.append(out); });"
    )
    probed = page.with_name(f"axe-{page.name}")
    text = page.read_text(encoding="utf-8")
    end = text.rindex("</body>")
    probed.write_text(
        f"{text[:end]}<script>{script}</script><script>{run}</script>{text[end:]}", encoding="utf-8"
    )
    shown = dumped(chromium, probed, width=width)
    told = re.search(r'<script type="application/json" id="axe-found">(.*?)</script>', shown, re.DOTALL)
    assert told, "axe did not finish"
    found: list[dict[str, Any]] = json.loads(told.group(1))
    return found
