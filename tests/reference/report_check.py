"""Measures a printed report with a ruler of its own: Chromium prints it, poppler turns it into a picture.

    python tests/reference/report_check.py FILE... [--rate 500 --peaks 152,569,986]

A FILE is report.svg, report.pdf with report.svg beside it (which says where to look), or a bundle that holds them.
Checked, none of it with our code:
 - the paper is what the file states, 297 x 210 mm if nothing else was asked for (pdfinfo);
 - a PDF says that it is PDF/A-2u, embeds its fonts with Unicode (pdffonts), and its text can be found (pdftotext);
 - the bar is 50 mm and the calibration pulse 0.2 s by 1 mV at the page's scale (5 mm by 10 mm at 25 mm/s and
   10 mm/mV) within 0.1 mm, in a picture at 600 dots per inch; the same from the path data of an SVG;
 - grid lines lie 5 mm apart on the whole page within 0.1 mm;
 - with --peaks, the R peaks of the rhythm strip stand at these samples within 0.1 mm, in path and picture;
 - texts are at least 2.2 mm high and contrast at least 4.5 : 1 with white (WCAG 2.2, 1.4.3);
 - the widths the page reckons with are those of Liberation Sans, where that font is installed.

Needs python3 with numpy and pillow, and the programs chromium, pdffonts, pdfinfo, pdftoppm and pdftotext.
"""

import argparse
import pathlib
import re
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree
import zipfile

import numpy
from PIL import Image, ImageFont

Image.MAX_IMAGE_PIXELS = None
SVG = "{http://www.w3.org/2000/svg}"
DPI = 600
PER_MM = DPI / 25.4
WITHIN_MM = 0.1
# Chromium cuts the paper to whole dots of 1/300 inch (0.085 mm), height and width each by up to two (measured); what
# is printed on it keeps its scale.
CHROMIUM_PAPER_MM = 0.2
# Words behind the tracings; they stand in black in the head as well.
WATERMARK = "#dddddd"
LIBERATION = "/usr/share/fonts/truetype/liberation/LiberationSans-{}.ttf"


class Failures(list):
    def check(self, holds, words):
        print(("ok    " if holds else "WRONG ") + words)
        if not holds:
            self.append(words)

    def near(self, found, expected, within, what):
        self.check(abs(found - expected) <= within, f"{what}: {found:.3f}, expected {expected:.3f} within {within}")


def path_points(data):
    """The points of path data with the commands M, L, l, h and Z, run by run (SVG 1.1, 8.3)."""
    runs = []
    for command, numbers in re.findall(r"([A-Za-z])([^A-Za-z]*)", data):
        values = [float(number) for number in re.findall(r"-?(?:\d+\.?\d*|\.\d+)", numbers)]
        pairs = list(zip(values[::2], values[1::2]))
        if command == "M":
            runs.append(pairs)
        elif command == "L":
            runs[-1].extend(pairs)
        elif command == "l":
            for dx, dy in pairs:
                x, y = runs[-1][-1]
                runs[-1].append((x + dx, y + dy))
        elif command not in "hZ":
            sys.exit(f"path command {command} is not known here")
    return runs


def in_mm(path):
    """The points of a path in the page's unit; a path in thousandths says so (SVG 1.1, 7.6)."""
    unit = {None: 1.0, "scale(.001)": 0.001}[path.get("transform")]
    return [[(x * unit, y * unit) for x, y in run] for run in path_points(path.get("d"))]


class Page:
    """An SVG page as its text states it."""

    def __init__(self, svg):
        self.root = ElementTree.fromstring(svg)
        self.paths = {e.get("id"): in_mm(e) for e in self.root.iter(SVG + "path") if e.get("id")}

    def size_mm(self):
        return tuple(float(self.root.get(side).removesuffix("mm")) for side in ("width", "height"))

    def scale(self):
        """Millimetres per second and per millivolt, as the page says in words."""
        words = " ".join(e.text or "" for e in self.root.iter(SVG + "text"))
        return tuple(float(number) for number in re.search(r"([\d.]+) mm/s, ([\d.]+) mm/mV", words).groups())

    def extent(self, name):
        points = [point for run in self.paths[name] for point in run]
        xs, ys = zip(*points)
        return min(xs), min(ys), max(xs), max(ys)


def print_with_chromium(svg, folder):
    """The SVG on a page of its own size, printed to PDF."""
    width, height = Page(svg).size_mm()
    style = f"@page{{size:{width}mm {height}mm;margin:0}}body{{margin:0}}svg{{display:block}}"
    html = folder / "page.html"
    body = svg.decode().split("?>", 1)[-1]
    html.write_text(f"<!doctype html><meta charset=utf-8><style>{style}</style>{body}", encoding="utf-8")
    pdf = folder / "page.pdf"
    quiet = [
        "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
        "--disable-background-networking", "--disable-component-update", "--disable-sync",
        f"--user-data-dir={folder / 'profile'}", "--no-pdf-header-footer",
    ]
    command = ["chromium", *quiet, f"--print-to-pdf={pdf}", html.as_uri()]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=120)
    return pdf


def paper_mm(pdf):
    out = subprocess.run(["pdfinfo", pdf], check=True, capture_output=True, text=True).stdout
    pages = int(re.search(r"Pages:\s+(\d+)", out).group(1))
    width, height = (float(n) / 72 * 25.4 for n in re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", out).groups())
    return pages, width, height


def picture(pdf, folder):
    """How dark each dot of the first page is: 0 for anything lighter than dark grey, so that only black ink counts."""
    target = folder / "page"
    command = ["pdftoppm", "-r", str(DPI), "-gray", "-singlefile", "-f", "1", pdf, target]
    subprocess.run(command, check=True, timeout=300)
    grey = numpy.asarray(Image.open(f"{target}.pgm"), dtype=numpy.int16)
    return grey


def dots(mm):
    return int(round(mm * PER_MM))


def centres(darkness, from_mm):
    """Middles of the dark stretches of a line of dots, in millimetres."""
    found, start = [], None
    for index, value in enumerate(numpy.append(darkness, 0)):
        if value > 0 and start is None:
            start = index
        elif value <= 0 and start is not None:
            weights = darkness[start:index]
            found.append(float((numpy.arange(start, index) + 0.5) @ weights / weights.sum()) / PER_MM + from_mm)
            start = None
    return found


def upright_lines(grey, y, left, right, darker_than=110):
    """Where upright black lines cross the height y between left and right."""
    row = grey[dots(y), dots(left):dots(right)]
    return centres(numpy.maximum(darker_than - row, 0), dots(left) / PER_MM)


def level_lines(grey, x, top, bottom, darker_than=110):
    column = grey[dots(top):dots(bottom), dots(x)]
    return centres(numpy.maximum(darker_than - column, 0), dots(top) / PER_MM)


def distance(first, last):
    """From the first of some lines to the last of others; no number where there are none."""
    return last[-1] - first[0] if first and last else float("nan")


def check_picture(grey, page, failures):
    left, top, right, _ = page.extent("bar")
    ends = upright_lines(grey, top - 1.0, left - 1, right + 1)
    failures.near(distance(ends, ends), 50.0, WITHIN_MM, "bar in the picture, mm")
    left, top, right, bottom = page.extent("calibration")
    walls = upright_lines(grey, (top + bottom) / 2, left - 1, right + 1)
    speed, gain = page.scale()
    failures.near(distance(walls, walls), 0.2 * speed, WITHIN_MM, "pulse in the picture, length in mm")
    roof = level_lines(grey, (left + right) / 2, top - 1, top + 1)
    foot = level_lines(grey, left - 0.9, bottom - 1, bottom + 1)
    failures.near(distance(roof, foot), gain, WITHIN_MM, "pulse in the picture, height in mm")
    check_grid(grey, page, failures)


def check_grid(grey, page, failures):
    """Lines at every 5 mm, looked for on a row of dots that only they cross."""
    left, top, right, _ = page.extent("grid-5mm")
    worst = 0.0
    row = grey[dots(top + 0.5), dots(left - 1):dots(right + 1)]
    lines = centres(numpy.maximum(205 - row, 0), dots(left - 1) / PER_MM)
    expected = numpy.arange(left, right + 0.01, 5.0)
    for at in expected:
        worst = max(worst, min((abs(line - at) for line in lines), default=float("inf")))
    failures.near(worst, 0.0, WITHIN_MM, f"{len(expected)} upright grid lines in the picture, worst error in mm")


def check_paths(page, failures):
    left, top, right, bottom = page.extent("bar")
    failures.near(right - left, 50.0, 0.002, "bar in the path, mm")
    left, top, right, bottom = page.extent("calibration")
    speed, gain = page.scale()
    failures.near(right - left, 0.2 * speed, 0.002, "pulse in the path, length in mm")
    failures.near(bottom - top, gain, 0.002, "pulse in the path, height in mm")


def check_peaks(grey, page, rate, samples, failures):
    """R peaks: the highest point within 40 ms of where they should be, counted from the first tick of the axis."""
    zero = page.paths["seconds"][0][0][0]
    strip = [point for run in page.paths["strip-II"] for point in run]
    in_path, in_picture = [], []
    for sample in samples:
        expected = zero + sample / rate * page.scale()[0]
        near = [point for point in strip if abs(point[0] - expected) <= 1.0]
        if not near:
            continue
        x, y = min(near, key=lambda point: point[1])
        in_path.append(abs(x - expected))
        # The picture: the highest black dots between 1 mm left and right, from 1 mm above the path's top.
        top, left = dots(y - 1.0), dots(expected - 1.0)
        window = grey[top:dots(y + 3.0), left:dots(expected + 1.0)] < 110
        first = numpy.argmax(window.any(axis=1))
        columns = numpy.flatnonzero(window[first])
        in_picture.append(abs((left + columns.mean() + 0.5) / PER_MM - expected))
    failures.check(len(in_path) > 0, f"{len(in_path)} of {len(samples)} R peaks lie on the page")
    if in_path:
        failures.near(max(in_path), 0.0, WITHIN_MM, "R peaks in the path, worst error in mm")
        failures.near(max(in_picture), 0.0, WITHIN_MM, "R peaks in the picture, worst error in mm")


def luminance(colour):
    """Relative luminance (WCAG 2.2)."""
    parts = [int(colour[i:i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def check_texts(page, failures):
    texts = list(page.root.iter(SVG + "text"))
    failures.check(min(float(e.get("font-size")) for e in texts) >= 2.2, "every text is at least 2.2 mm high")
    # White on black is a banner; the pale words behind the tracings are left out.
    inks = {e.get("fill") for e in texts } - {"#ffffff", WATERMARK}
    contrast = min(1.05 / (luminance(ink) + 0.05) for ink in inks)
    failures.check(contrast >= 4.5, f"every text contrasts with white, least {contrast:.1f} : 1")
    fonts = {weight: LIBERATION.format(weight) for weight in ("Regular", "Bold")}
    if not all(pathlib.Path(font).exists() for font in fonts.values()):
        print("skipped: widths against Liberation Sans: the font is not installed")
        return
    fonts = {weight: ImageFont.truetype(font, 2048) for weight, font in fonts.items()}
    worst = 0.0
    for element in texts:
        text = element.text or ""
        if not text or not text.isascii():
            continue
        font = fonts["Bold" if element.get("font-weight") == "bold" else "Regular"]
        # Advances alone: the page reckons without kerning, as AFM and textLength do.
        width = sum(font.getlength(c) for c in text) / 2048 * float(element.get("font-size"))
        worst = max(worst, abs(float(element.get("textLength")) / width - 1))
    failures.check(worst <= 0.005, f"widths of ASCII texts against Liberation Sans, worst error {worst:.2%}")


def check_svg(name, svg, arguments, failures):
    print(f"-- {name}")
    page = Page(svg)
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        pdf = print_with_chromium(svg, folder)
        pages, width, height = paper_mm(pdf)
        failures.check(pages == 1, "one page")
        failures.near(width, page.size_mm()[0], CHROMIUM_PAPER_MM, "width of the paper from Chromium, mm")
        failures.near(height, page.size_mm()[1], CHROMIUM_PAPER_MM, "height of the paper from Chromium, mm")
        grey = picture(pdf, folder)
    check_paths(page, failures)
    check_picture(grey, page, failures)
    check_texts(page, failures)
    if arguments.peaks:
        check_peaks(grey, page, arguments.rate, peaks(arguments), failures)


def check_pdf(name, pdf, svg, arguments, failures):
    print(f"-- {name}")
    page = Page(svg)
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        file = folder / "report.pdf"
        file.write_bytes(pdf)
        _, width, height = paper_mm(file)
        failures.near(width, page.size_mm()[0], 0.01, "width of the paper, mm")
        failures.near(height, page.size_mm()[1], 0.01, "height of the paper, mm")
        check_archival(file, pdf, page, failures)
        grey = picture(file, folder)
    check_picture(grey, page, failures)
    if arguments.peaks:
        check_peaks(grey, page, arguments.rate, peaks(arguments), failures)


def check_archival(file, pdf, page, failures):
    failures.check(b"<pdfaid:part>2<" in pdf and b"<pdfaid:conformance>U<" in pdf, "the PDF says that it is PDF/A-2u")
    out = subprocess.run(["pdffonts", file], check=True, capture_output=True, text=True).stdout
    fonts = [line.split()[-5:-2] for line in out.splitlines()[2:]]
    failures.check(bool(fonts) and all(font == ["yes"] * 3 for font in fonts), f"{len(fonts)} fonts embedded, with Unicode")
    info = subprocess.run(["pdfinfo", file], check=True, capture_output=True, text=True).stdout
    title = re.search(r"Title:\s+(.*)", info)
    failures.check(title is not None and title.group(1) == page.root.findtext(SVG + "title"), "the title is the page's")
    text = subprocess.run(["pdftotext", "-f", "1", "-l", "1", file, "-"], check=True, capture_output=True, text=True).stdout
    # Blanks between words far apart are poppler's choice.
    bare = lambda words: "".join(words.split())
    found = bare(text)
    wanted = [e.text for e in page.root.iter(SVG + "text") if e.text and e.text.isascii() and e.get("fill") != WATERMARK]
    missed = [words for words in wanted if bare(words) not in found]
    failures.check(not missed, f"{len(wanted)} texts found in the PDF" + (f", but not {missed[:3]}" if missed else ""))


def reports(path):
    """Name, file and the SVG that says where to look, for a file or each report inside a bundle."""
    if path.suffix != ".zip":
        svg = path.with_suffix(".svg")
        yield str(path), path.read_bytes(), svg.read_bytes() if svg.exists() else None
        return
    with zipfile.ZipFile(path) as bundle:
        names = bundle.namelist()
        for name in names:
            svg = name.removesuffix(".pdf") + ".svg" if name.endswith(".pdf") else name
            if name.endswith((".svg", ".pdf")):
                yield f"{path}: {name}", bundle.read(name), bundle.read(svg) if svg in names else None


def peaks(arguments):
    return [int(sample) for sample in arguments.peaks.split(",")]


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="+", type=pathlib.Path)
    parser.add_argument("--rate", type=float, help="samples per second, for --peaks")
    parser.add_argument("--peaks", help="samples of the R peaks in lead II, apart by commas")
    arguments = parser.parse_args()
    if arguments.peaks and not arguments.rate:
        parser.error("--peaks needs --rate")
    for program in ("chromium", "pdffonts", "pdfinfo", "pdftoppm", "pdftotext"):
        if not shutil.which(program):
            sys.exit(f"{program} is not installed")
    failures = Failures()
    count = 0
    for path in arguments.files:
        for name, content, svg in reports(path):
            if svg is None:
                sys.exit(f"{name}: the page as .svg is not beside it")
            count += 1
            if name.endswith(".pdf"):
                check_pdf(name, content, svg, arguments, failures)
            elif "bar" in Page(svg).paths:
                check_svg(name, content, arguments, failures)
            else:
                print(f"-- {name}: a page of words, nothing to measure")
    if not count:
        sys.exit("no report found")
    if failures:
        sys.exit(f"{len(failures)} of the measurements are wrong")
    print(f"{count} reports measured, all true")


if __name__ == "__main__":
    main()
