"""Rows of the kernel's flat work space; row r of lane m is element r * LANES + m."""

from __future__ import annotations

from drydown.steps.dry.layout import LANES, MAX_LAYERS, PARAMETER_COUNT, SHELLS, SLAB

W, J, N, M = LANES, MAX_LAYERS, SHELLS, SLAB
NS = N + 1

# One state: shells (layer by layer), film, temperature, slab.
X0, F0, T0, S0 = 0, NS * J, NS * J + J, NS * J + 2 * J
STATE_ROWS = NS * J + 2 * J + M

# One moment's work: quantity by quantity, a row a layer.
(
    PS, DPS, AW, DAWX, DAWT, PHI, DPHI, DIFF, LSKIN, LFREE, PV, ES, EF, SOAK, CAUGHT, FALLING, DEWING,
) = (q * J for q in range(17))  # fmt: skip
MOMENT_ROWS = 17 * J

# The air a bed meets, and the bed's exchange with it.
TA, PVA, WIND, SUN, RAIN, SKY, COVER = range(7)
AIR_ROWS = 7
(
    GTOP, GBOT, GPORE, HTOP, HBOT, KLAY, GIVE, FHALF, FHOLD, FADE, GFLOW, HFLOW, TIN, KCAP, TAIR, PAIR,
    LINKG, PIN, HRAD, HSKY, TOUCH, BAREH, BARESKY, GSKIN, DR2,
) = range(25)  # fmt: skip
BED_ROWS = 25

# Factors of the linear system, a row a layer each.
(
    AA, AF, FA, FF, AT, AP, FT, FP, ESX, ESF, EFF, EST, ESP, EFT, EFP, I11, I12, I21, I22, RAINF,
) = (q * J for q in range(20))  # fmt: skip
FACTOR_ROWS = 20 * J

# Where each block of rows begins.
P = 0
STATE = P + PARAMETER_COUNT
AHEAD = STATE + STATE_ROWS
K1 = AHEAD + STATE_ROWS
K2 = K1 + STATE_ROWS
SIDE = K2 + STATE_ROWS
NOW = SIDE + STATE_ROWS
THEN = NOW + MOMENT_ROWS
AIR1 = THEN + MOMENT_ROWS
AIR2 = AIR1 + AIR_ROWS
BED1 = AIR2 + AIR_ROWS
BED2 = BED1 + BED_ROWS
FAC = BED2 + BED_ROWS
RATIO = FAC + FACTOR_ROWS  # multipliers of the shells
PIVOT = RATIO + NS * J  # inverse pivots of the shells
SLABF = PIVOT + NS * J
CAP = SLABF + M  # heat capacity of each layer
DRIFT = CAP + J  # rate of each layer's mean moisture in the last step
KP = DRIFT + J  # pore vapour of the stage
TRI = KP + J  # three rows a layer
MEANX = TRI + 3 * J
(
    OUT1, OUT2, HELD1, HELD2, GONE, HELD, HEAT1, HEAT2, HEAT, ERROR, FLOWV, FLOWR, FIRST,
    ENTER1, ENTER2, FLOWH, ENTERED, STORED, TURNED,
) = range(MEANX + 1, MEANX + 20)  # fmt: skip
LATENT0 = MEANX + 20  # latent heat of the right-hand side, a row a layer
# What each lane keeps all through a run, worked out once from its parameters.
(
    SPAN, AREA, EXCHANGE, POREWAY, FILMWAY, BYLOAD, BYLIGHT, DBYR2, SLOWAIR, FASTAIR, FRESH, HULLWAY, SHRUNK,
    SLABLINK, SLABHEAT, OFF,
) = range(LATENT0 + J, LATENT0 + J + 16)  # fmt: skip
ROWS = LATENT0 + J + 16
SIZE = ROWS * W
