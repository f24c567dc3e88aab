"""The PDF report against qpdf, poppler, MuPDF and a structural check of PDF/A-3 with pikepdf.

No validator of PDF/A is to be had here; the structural check looks at identification, output intent, embedded fonts,
attachments and forbidden parts (ISO 19005-3), and does not claim more.
"""

import json
import re
import subprocess
import tempfile
from pathlib import Path

import pikepdf

from outside import Check, run

check = Check("PDF report", f"qpdf, poppler, MuPDF, pikepdf {pikepdf.__version__}")


def call(*command):
    done = subprocess.run(command, capture_output=True, text=True)
    return done.returncode, done.stdout


with tempfile.TemporaryDirectory() as folder:
    out = Path(folder) / "out"
    run("rehearse", "wall_unit/quick_check", "--defect", "W03", "--out", out, expect=1)
    path = next((out / "reports").glob("*.pdf"))
    code, _ = call("qpdf", "--check", str(path))
    check.same("qpdf finds no damage", code, 0)
    code, text = call("pdftotext", "-layout", str(path), "-")
    check.same("pdftotext reads it", code, 0)
    pages = [page for page in text.split("\f") if page.strip()]
    check.holds("several pages", len(pages) >= 2, f"{len(pages)}")
    for number, page in enumerate(pages, 1):
        check.holds(f"page {number} says that no item was tested", "no item was tested" in page, page[:200])
        check.holds(f"page {number} never says safe", not re.search(r"\bsafe\b(?! and read back)", page.replace("made safe", "").replace("make safe", "").replace("Make safe", "").replace("Made safe", "")), page)
    check.holds("the failed step is there", "WU-14" in text and "FAIL" in text.upper(), text[:400])
    code, fonts = call("pdffonts", str(path))
    rows = fonts.splitlines()[2:]
    check.holds("fonts are there", len(rows) >= 1, fonts)
    for row in rows:
        flags = re.search(r"\s(yes|no)\s+(yes|no)\s+(yes|no)\s+\d+\s+\d+$", row)
        check.holds(f"font embedded as a subset: {row[:30]}", flags and flags.group(1) == "yes" and flags.group(2) == "yes", row)
    code, info = call("mutool", "info", str(path))
    check.same("mutool reads it", code, 0)
    code, drawn = call("mutool", "draw", "-F", "txt", "-o", "-", str(path))
    check.holds("mutool's text agrees about the verdict", "no item was tested" in drawn, drawn[:200])

    pdf = pikepdf.open(path)
    root = pdf.Root
    xmp = bytes(root.Metadata.read_bytes()).decode()
    check.same("PDF/A part", re.search(r"pdfaid:part[>\"= ]+(\d)", xmp).group(1), "3")
    check.holds("output intent with a profile", "/OutputIntents" in root and "/DestOutputProfile" in root.OutputIntents[0])
    check.holds("identifier", "/ID" in pdf.trailer)
    check.holds("not encrypted", "/Encrypt" not in pdf.trailer)
    check.holds("no script", "/JavaScript" not in root.get("/Names", {}))
    names = {str(name) for name in pdf.attachments}
    check.holds("the record is attached", any("journal" in name for name in names), str(names))
    attached = next(pdf.attachments[name].get_file().read_bytes() for name in names if "journal" in name)
    check.same("the attached journal is the record's", attached, (out / "journal.txt").read_bytes())
check.finish(at_least=15)
