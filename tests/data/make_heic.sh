#!/bin/sh
# Makes turned.heic: upright pixels, and an EXIF orientation that contradicts them; and placed.heic: a photo that tells
# where it was taken (pi-heif cannot write HEIC).
# Needs Debian's libheif-examples. Run in this folder with the project's python first on PATH.
set -eu
python - <<'PY'
import numpy as np
from PIL import Image
pixels = np.full((120, 160, 3), 128, np.uint8)
pixels[:60, :80] = (250, 10, 10)
exif = Image.Exif()
exif[0x0112] = 6
Image.fromarray(pixels).save("turned.jpg", exif=exif, quality=95)
exif = Image.Exif()
exif.get_ifd(0x8769)[0x9003] = "2026:03:04 12:00:00"
exif.get_ifd(0x8825).update({1: "N", 2: (52.0, 13.0, 7.5), 3: "E", 4: (1.0, 7.0, 1.0)})
Image.fromarray(pixels[:48, :64]).save("placed.jpg", exif=exif, quality=95)
PY
for name in turned placed; do
    heif-enc -q 60 -o "$name.heic" "$name.jpg"
    rm "$name.jpg"
done
