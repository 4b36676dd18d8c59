"""Makes the sample pictures and expected numbers in tests/truth/photo with Pillow (libjpeg-turbo, littlecms) and libheif.

python tests/outside/photo/make_truth.py tests/truth/photo
"""

import io
import json
import pathlib
import sys

import numpy as np
import pillow_heif
from PIL import Image, ImageCms, ImageOps, TiffImagePlugin

import icc

OUT = pathlib.Path(sys.argv[1])
SRGB = ImageCms.createProfile("sRGB")
PATCH_PX = 32
# Skin, wound and redness tones, greys, and full primaries that lie outside sRGB.
PATCHES = [
    [200, 60, 50], [150, 30, 35], [225, 150, 130], [110, 70, 55], [60, 40, 35], [240, 200, 90], [128, 128, 128],
    [40, 90, 60], [250, 250, 250], [5, 5, 5], [90, 110, 200], [255, 0, 0],
]


def srgb_to_lab(rgb):
    """CIE L*a*b* (D65) of 8-bit sRGB; IEC 61966-2-1 and CIE 15."""
    c = np.asarray(rgb, float) / 255
    c = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    m = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    t = c @ m.T / np.array([0.95047, 1.0, 1.08883])
    f = np.where(t > 216 / 24389, np.cbrt(t), (24389 / 27 * t + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], -1)


def patches(space, name, file):
    profile = icc.profile(space, name)
    row = np.repeat(np.repeat(np.array([PATCHES], np.uint8), PATCH_PX, 0), PATCH_PX, 1)
    picture = Image.fromarray(row)
    picture.save(OUT / file, quality=97, subsampling=0, icc_profile=profile)
    as_decoded = Image.open(OUT / file).convert("RGB")
    source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
    expected = ImageCms.profileToProfile(as_decoded, source, SRGB, renderingIntent=1, outputMode="RGB")
    middles = np.asarray(expected)[PATCH_PX // 2, PATCH_PX // 2 :: PATCH_PX]
    return {"sent": PATCHES, "srgb": middles.tolist(), "lab": np.round(srgb_to_lab(middles), 3).tolist()}


def scene(width, height):
    """Something with no symmetry: a colour in each corner, a ramp, a bright bar near the left top."""
    y, x = np.mgrid[0:height, 0:width]
    a = np.stack([60 + 120 * x / width, 70 + 90 * y / height, 90 + 0 * x], -1)
    corner = height // 4
    a[:corner, :corner] = [210, 40, 40]
    a[:corner, -corner:] = [40, 170, 60]
    a[-corner:, :corner] = [50, 70, 200]
    a[-corner:, -corner:] = [230, 210, 60]
    a[corner : corner + corner // 2, corner : width // 2] = [240, 240, 240]
    return Image.fromarray(a.astype(np.uint8))


def orientations():
    upright = scene(160, 112)
    undo = {2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
            5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
            8: Image.Transpose.ROTATE_270}
    for number in range(1, 9):
        stored = upright.transpose(undo[number]) if number in undo else upright
        exif = Image.Exif()
        exif[0x0112] = number
        stored.save(OUT / f"orientation-{number}.jpg", quality=95, subsampling=0, exif=exif)
        seen = ImageOps.exif_transpose(Image.open(OUT / f"orientation-{number}.jpg"))
        assert np.abs(np.asarray(seen).astype(int) - np.asarray(upright).astype(int)).mean() < 3


def full_of_metadata():
    picture = scene(320, 240)
    small = io.BytesIO()
    picture.resize((80, 60)).save(small, "JPEG")
    exif = Image.Exif()
    exif[0x010F], exif[0x0110], exif[0x0131], exif[0x013B] = "CanaryMake", "CanaryModel", "CanarySoftware", "CanaryArtist"
    exif[0x0112], exif[0x0132], exif[0x8298] = 6, "2026:03:09 17:06:00", "CanaryCopyright"
    inner = exif.get_ifd(0x8769)
    inner[0x9003], inner[0xA405] = "2026:03:09 17:05:59", 26
    inner[0x927C], inner[0xA430], inner[0xA431] = b"CanaryMakerNote" * 20, "CanaryOwner", "CanarySerial"
    place = exif.get_ifd(0x8825)
    place[1], place[2] = "N", tuple(TiffImagePlugin.IFDRational(n) for n in (12, 34, 56))
    place[3], place[4] = "W", tuple(TiffImagePlugin.IFDRational(n) for n in (65, 43, 21))
    # The thumbnail's directory, appended behind the block Pillow wrote: Pillow itself writes none.
    block = exif.tobytes()[6:]
    block = with_thumbnail(block, small.getvalue())
    xmp = b'<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF>CanaryXmp</rdf:RDF></x:xmpmeta>'
    profile = icc.profile(icc.DISPLAY_P3, "CanaryProfile")
    picture.save(OUT / "full-of-metadata.jpg", quality=90, exif=b"Exif\0\0" + block, xmp=xmp, icc_profile=profile,
                 comment=b"CanaryComment")


def with_thumbnail(block, jpeg):
    big = block[:2] == b"MM"
    order = "big" if big else "little"
    number = lambda at, size: int.from_bytes(block[at : at + size], order)
    first = number(4, 4)
    link = first + 2 + 12 * number(first, 2)
    entry = lambda tag, value: tag.to_bytes(2, order) + (4).to_bytes(2, order) + (1).to_bytes(4, order) + value.to_bytes(4, order)
    second = len(block)
    directory = (2).to_bytes(2, order) + entry(0x0201, second + 30) + entry(0x0202, len(jpeg)) + bytes(4)
    return block[:link] + second.to_bytes(4, order) + block[link + 4 :] + directory + jpeg


def kinds():
    """One picture in every kind that must be read; no metadata."""
    picture = scene(160, 112)
    picture.save(OUT / "kind-baseline.jpg", quality=92)
    picture.save(OUT / "kind-progressive.jpg", quality=92, progressive=True)
    picture.save(OUT / "kind-restarts.jpg", quality=92, restart_marker_rows=1)
    picture.convert("L").save(OUT / "kind-grey.jpg", quality=92)
    picture.convert("CMYK").save(OUT / "kind-cmyk.jpg", quality=95)
    picture.save(OUT / "kind-rgb.png")
    picture.quantize(64).save(OUT / "kind-palette.png")
    deep = np.asarray(picture.convert("L")).astype(np.uint16) * 257
    Image.fromarray(deep).save(OUT / "kind-grey16.png")
    clear = picture.convert("RGBA")
    clear.putalpha(Image.fromarray(np.tile(np.linspace(0, 255, 160).astype(np.uint8), (112, 1))))
    clear.save(OUT / "kind-alpha.png")
    clear.save(OUT / "kind-alpha.webp", lossless=True)
    picture.save(OUT / "kind-lossy.webp", quality=92)
    other = ImageOps.invert(picture)
    picture.save(OUT / "kind-moving.webp", save_all=True, append_images=[other] * 3, duration=100, quality=92)
    pillow_heif.register_heif_opener()
    picture.save(OUT / "kind-still.heic", quality=92)
    pillow_heif.options.GRID_TILE_SIZE = 64  # as phones do, with larger tiles
    picture.save(OUT / "kind-tiles.heic", quality=92)
    pillow_heif.options.GRID_TILE_SIZE = 0
    wide = icc.profile(icc.DISPLAY_P3, "Display P3")
    exif = Image.Exif()
    exif[0x0112] = 6
    stored = picture.transpose(Image.Transpose.ROTATE_90)
    stored.save(OUT / "kind-turned.heic", quality=92, exif=exif.tobytes(), icc_profile=wide)


def main():
    OUT.mkdir(parents=True, exist_ok=True)
    truth = {
        "made_by": f"Pillow {Image.__version__}, littlecms {ImageCms.core.littlecms_version}, relative colorimetric",
        "patch_px": PATCH_PX,
        "p3.jpg": patches(icc.DISPLAY_P3, "Display P3", "p3.jpg"),
        "adobe.jpg": patches(icc.ADOBE_RGB, "Adobe RGB (1998)", "adobe.jpg"),
    }
    (OUT / "colour.json").write_text(json.dumps(truth, indent=1) + "\n")
    orientations()
    full_of_metadata()
    kinds()


main()
