"""Pictures that Pillow made, without what tells where they were taken."""

import functools
import io
import random
import struct
import zlib

import pytest
from PIL import Image, ImageCms
from PIL.PngImagePlugin import PngInfo

from controller.adapters.photos import stripped
from controller.ports import PhotoRefusedError

SECRET = b"41.1579 N, taken by somebody"
XMP = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>" + SECRET + b"</x:xmpmeta>"
KINDS = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
ORIENTATION, MAKER, GPS = 0x0112, 0x010F, 0x8825


def picture(size=(48, 32)):
    image = Image.frombytes("RGB", (8, 8), bytes(n * 97 % 251 for n in range(192)))
    return image.resize(size, Image.Resampling.BICUBIC)


def exif(orientation):
    told = Image.Exif()
    told[MAKER] = SECRET.decode()
    if orientation:
        told[ORIENTATION] = orientation
    told.get_ifd(GPS)[1] = "N"
    told.get_ifd(GPS)[2] = (41.0, 9.0, 28.4)
    return told


@functools.cache  # Pillow writes the second of its making into each
def profile():
    return ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def made(kind, orientation=6, **options):
    """Return a file as a phone might write it, with all that tells of a place."""
    texts = PngInfo()
    texts.add_text("Comment", SECRET.decode())
    texts.add_itxt("XML:com.adobe.xmp", XMP.decode())
    also = {
        "JPEG": {"xmp": XMP, "comment": SECRET, "quality": 90},
        "PNG": {"pnginfo": texts},
        "WEBP": {"xmp": XMP},
    }[kind]
    file = io.BytesIO()
    also |= {"exif": exif(orientation), "icc_profile": profile(), **options}
    picture().save(file, kind, **also)
    return file.getvalue()


def clean(data, kind="JPEG"):
    pieces = stripped(data, KINDS[kind])
    return b"".join(p if isinstance(p, bytes) else data[p] for p in pieces)


def opened(data):
    image = Image.open(io.BytesIO(data))
    image.load()
    return image


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("orientation", [None, 1, 3, 6, 8])
def test_of_all_that_stands_beside_the_pixels_only_the_way_up_and_the_colours_stay(
    kind, orientation
):
    data = made(kind, orientation)
    before, found = opened(data), opened(clean(data, kind))
    assert SECRET in data
    told = found.getexif()
    expected = {ORIENTATION: orientation} if (orientation or 1) > 1 else {}
    assert dict(told) == expected
    assert not told.get_ifd(GPS)
    assert found.tobytes() == before.tobytes()
    assert found.info["icc_profile"] == profile()
    assert SECRET not in clean(data, kind)
    assert b"xmpmeta" not in clean(data, kind)
    assert not found.info.keys() & {"comment", "Comment", "xmp", "XML:com.adobe.xmp"}


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_clean_stays_as_it_is(kind):
    once = clean(made(kind), kind)
    assert clean(once, kind) == once


@pytest.mark.parametrize("kind", KINDS)
def test_what_follows_the_end_goes(kind):
    """Phones put a film, a map of depth or a second picture there."""
    data = made(kind)
    behind = b"ftypmp42" + SECRET * 9
    assert clean(data + behind, kind) == clean(data, kind)


@pytest.mark.parametrize("mode", ["L", "CMYK"])
def test_a_jpeg_of_other_colours_looks_as_before(mode):
    file = io.BytesIO()
    picture().convert(mode).save(file, "JPEG", progressive=True)
    found = opened(clean(file.getvalue()))
    assert found.mode == mode
    assert found.tobytes() == opened(file.getvalue()).tobytes()


def test_a_jpeg_with_restarts_and_a_second_picture_in_it_looks_as_before():
    file = io.BytesIO()
    big = picture((400, 300))
    big.save(file, "JPEG", restart_marker_blocks=3, quality=95)
    data = file.getvalue()
    other = b"\xff\xe2" + (9 + 4).to_bytes(2, "big") + b"MPF\0" + bytes(7)
    found = clean(data[:2] + other + data[2:])
    assert b"MPF\0" not in found
    assert opened(found).tobytes() == opened(data).tobytes()


def test_a_png_with_few_colours_and_a_webp_without_loss_look_as_before():
    for kind, image, options in (
        ("PNG", picture().convert("P"), {}),
        ("PNG", picture().convert("LA"), {}),
        ("WEBP", picture().convert("RGBA"), {"lossless": True}),
        ("WEBP", picture(), {"quality": 50}),
    ):
        file = io.BytesIO()
        image.save(file, kind, **options)
        found = opened(clean(file.getvalue(), kind))
        assert found.tobytes() == opened(file.getvalue()).tobytes()


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_that_ends_in_the_middle_is_refused_wherever_it_ends(kind):
    data = clean(made(kind), kind)
    for end in range(len(data)):
        with pytest.raises(PhotoRefusedError):
            clean(data[:end], kind)


@pytest.mark.parametrize("kind", KINDS)
def test_rubbish_is_refused_or_taken_and_never_an_error_of_another_kind(kind):
    rng, data = random.Random(11), made(kind)  # noqa: S311
    for _ in range(400):
        wrong = bytearray(data)
        for _ in range(rng.randrange(1, 4)):
            wrong[rng.randrange(12, len(wrong))] = rng.randrange(256)
        try:
            found = clean(bytes(wrong), kind)
        except PhotoRefusedError as error:
            assert len(str(error)) > 10
        else:
            assert SECRET not in found


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<!doctype html><script>alert(1)</script>",
        b"GIF89a\x01\x00\x01\x00\x00\x00\x00;",
        b"\x00\x00\x00\x18ftypheic" + bytes(40),
        b"\xff\xd8\xff<html><script>alert(1)</script>",
        b"\x89PNG\r\n\x1a\n<html><script>alert(1)</script>",
        b"RIFF\x30\x00\x00\x00WEBP<html><script>alert(1)</script>" + bytes(40),
        b"\xff\xd8\xff\xd9",
        b"RIFF\x04\x00\x00\x00WEBP",
    ],
)
def test_what_is_no_picture_of_its_kind_is_refused(kind, data):
    with pytest.raises(PhotoRefusedError):
        clean(data, kind)


def test_a_picture_of_another_kind_is_refused():
    for kind in KINDS:
        for other in set(KINDS) - {kind}:
            with pytest.raises(PhotoRefusedError, match=f"not {KINDS[other]}"):
                clean(made(kind), other)


def test_a_page_hidden_in_a_picture_is_left_out():
    page = b"<html><script>alert(1)</script>"
    data = made("JPEG", comment=page, xmp=page)
    assert b"<script>" not in clean(data)


def chunk(kind, content):
    body = kind + content
    return struct.pack(">I", len(content)) + body + struct.pack(">I", zlib.crc32(body))


def test_a_picture_too_large_to_be_shown_is_refused():
    """A few bytes that a browser would need gigabytes for."""
    header = struct.pack(">IIBBBBB", 60_000, 60_000, 8, 2, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header)
    with pytest.raises(PhotoRefusedError, match="100 million"):
        clean(data + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b""), "PNG")


def test_a_png_whose_check_sum_is_wrong_is_refused():
    data = bytearray(made("PNG"))
    data[data.index(b"IDAT") + 9] ^= 1
    with pytest.raises(PhotoRefusedError, match="check sum"):
        clean(bytes(data), "PNG")


def test_a_picture_in_too_many_parts_is_refused():
    data = made("PNG")
    many = data[:33] + chunk(b"tEXt", b"") * 20_000 + data[33:]
    with pytest.raises(PhotoRefusedError, match="20000 parts"):
        clean(many, "PNG")


def test_a_webp_that_moves_is_refused():
    file = io.BytesIO()
    frames = [picture(), picture((48, 32)).rotate(90)]
    frames[0].save(file, "WEBP", save_all=True, append_images=frames[1:])
    with pytest.raises(PhotoRefusedError, match="moves"):
        clean(file.getvalue(), "WEBP")
