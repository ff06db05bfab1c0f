"""Compares the pages of which pictures are kept with these pictures.

    python tests/reference/pictures_check.py FOLDER [--renew]

FOLDER holds the PDF files of `cargo run -p ecgkeep-report --features pdf --example kept FOLDER`. poppler draws the first
page of each in grey, as a grey printer would; it is compared with tests/reference/pictures/NAME.png. Small, so that
the repository stays small, and large enough to see that something moved, is missing or overprints. `--renew` replaces the
kept pictures: look at the pages at full size first, and at what this program says of them.

Also held here, in the picture at 150 dots per inch: the ink of tracings and words is at least 4.5 times as contrasting
as paper with grid (WCAG 2.2, 1.4.3), so that a grey print can be read.
"""

import pathlib
import subprocess
import sys
import tempfile

import numpy
from PIL import Image

KEPT = pathlib.Path(__file__).parent / "pictures"
DPI = 40
GREYS = 16
# Versions of poppler smooth edges differently; a moved row or a missing word changes more.
MEAN_AT_MOST = 2.0
FAR = 96
FAR_SHARE_AT_MOST = 0.002


def draw(pdf, dpi):
    with tempfile.TemporaryDirectory() as folder:
        target = pathlib.Path(folder) / "page"
        subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", "-singlefile", "-f", "1", pdf, target], check=True)
        return Image.open(f"{target}.pgm").copy()


def coarse(picture):
    """In few greys, as kept."""
    grey = numpy.asarray(picture, dtype=numpy.float64)
    return numpy.rint(grey / 255 * (GREYS - 1)).astype(numpy.uint8)


def keep(grey, path):
    picture = Image.fromarray(grey, mode="P")
    picture.putpalette([value for step in range(GREYS) for value in [round(step * 255 / (GREYS - 1))] * 3])
    picture.save(path, optimize=True, bits=4)


def luminance(grey):
    c = grey / 255
    return c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4


def contrast(pdf):
    """The darkest ink against the paper with its grid: the mean of all that is not ink."""
    grey = numpy.asarray(draw(pdf, 150), dtype=numpy.float64)
    ink, paper = numpy.percentile(grey, 0.5), grey[grey > 128].mean()
    return (luminance(paper) + 0.05) / (luminance(ink) + 0.05)


def main():
    folder, *options = sys.argv[1:]
    wrong = 0
    files = sorted(pathlib.Path(folder).glob("*.pdf"))
    names = {file.stem for file in files}
    for path in sorted(KEPT.glob("*.png")):
        if path.stem not in names and options != ["--renew"]:
            print(f"WRONG {path.stem}: kept, but not drawn any more")
            wrong += 1
    for file in files:
        found, path = coarse(draw(file, DPI)), KEPT / f"{file.stem}.png"
        if options == ["--renew"]:
            KEPT.mkdir(exist_ok=True)
            keep(found, path)
        kept = numpy.asarray(Image.open(path)) if path.exists() else numpy.zeros((1, 1), numpy.uint8)
        if kept.shape != found.shape:
            print(f"WRONG {file.stem}: {found.shape[::-1]} dots, kept {kept.shape[::-1]}")
            wrong += 1
            continue
        apart = numpy.abs(kept.astype(float) - found) * 255 / (GREYS - 1)
        far = float((apart > FAR).mean())
        readable = contrast(file)
        holds = apart.mean() <= MEAN_AT_MOST and far <= FAR_SHARE_AT_MOST and readable >= 4.5
        words = f"differs by {apart.mean():.2f} of 255, {far:.3%} of it far; ink to paper {readable:.1f} : 1 in grey"
        print(f"{'ok   ' if holds else 'WRONG'} {file.stem}: {words}")
        wrong += not holds
    if wrong or not files:
        sys.exit(f"{wrong} pictures of {len(files)} are wrong")
    print(f"{len(files)} pictures as kept")


if __name__ == "__main__":
    main()
