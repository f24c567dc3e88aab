"""JUnit files against the common schema (xmllint) and two outside readers (junitparser, junit2html).

The schema is `junit-10.xsd` of the Jenkins xunit plugin (MIT licence), taken from the source package of pytest.
"""

import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

import junitparser

from outside import Check, run

check = Check("JUnit", f"xmllint with junit-10.xsd, junitparser {junitparser.version if hasattr(junitparser, 'version') else ''}, junit2html")


def schema(folder):
    subprocess.run([sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-binary", ":all:",
                    "--no-deps", "-d", str(folder), "pytest==8.4.2"], check=True, capture_output=True)
    archive = next(Path(folder).glob("*.tar.gz"))
    with tarfile.open(archive) as tar:
        member = next(m for m in tar.getmembers() if m.name.endswith("junit-10.xsd"))
        path = Path(folder) / "junit-10.xsd"
        path.write_bytes(tar.extractfile(member).read())
    return path


with tempfile.TemporaryDirectory() as folder:
    xsd = schema(folder)
    for defect, code, want in [(None, 0, "passed"), ("W03", 1, "failure"), ("W13", 3, "error")]:
        out = Path(folder) / f"out-{defect}"
        run("rehearse", "wall_unit/quick_check", *(["--defect", defect] if defect else []), "--no-pdf", "--out", out, expect=code)
        path = next((out / "reports").glob("*.xml"))
        done = subprocess.run(["xmllint", "--noout", "--schema", str(xsd), str(path)], capture_output=True, text=True)
        check.same(f"{defect}: valid against the schema", (done.returncode, done.stderr.strip().endswith("validates")), (0, True))
        suites = list(junitparser.JUnitXml.fromfile(str(path)))
        cases = [case for suite in suites for case in suite]
        check.holds(f"{defect}: cases", len(cases) >= 10, str(len(cases)))
        names = [(case.classname, case.name) for case in cases]
        check.same(f"{defect}: names are unique", len(names), len(set(names)))
        kinds = {type(result).__name__.lower() for case in cases for result in case.result}
        check.holds(f"{defect}: outcome {want}", not kinds - {"skipped"} if want == "passed" else want in kinds, str(kinds))
        check.holds(f"{defect}: says that no item was tested", "no item was tested" in path.read_text())
        html = Path(folder) / "page.html"
        done = subprocess.run([sys.executable, "-m", "junit2htmlreport", str(path), str(html)], capture_output=True, text=True)
        check.holds(f"{defect}: junit2html reads it", done.returncode == 0 and html.exists() and "WU-14" in html.read_text(), done.stderr[-300:])
check.finish(at_least=15)
