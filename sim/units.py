"""Units at the edges. Inside: mm in the plane, um in height, N, MPa, s."""

UM_PER_MM = 1000.0
MM_PER_INCH = 25.4
UM_PER_INCH = 25400.0
UM_PER_TENTH = 2.54  # one tenth of the shop: 0.0001 in
UM_PER_MICROINCH = 0.0254
ARCSEC_UM_PER_M = 4.848136811095360  # 1 arc second as a slope: pi / 648000, in um per m
S_PER_H = 3600.0
