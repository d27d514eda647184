#!/bin/sh
# Makes turned.heic: upright pixels, and an EXIF orientation that contradicts them (pi-heif cannot write HEIC).
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
PY
heif-enc -q 60 -o turned.heic turned.jpg
rm turned.jpg
