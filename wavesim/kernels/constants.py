"""Numbers that the kernels share with the rooms above, which import them from here.

Kernels import only each other, and what is compiled is kept under the hash of their sources, so
that a number which they use must stand in this room.  Numbers that no kernel uses stand in
`wavesim.constants`.
"""

PERFECT, MIXTURE = 0, 1  #: kinds of gas

#: Sutherland's law for air: viscosity [Pa s] at a temperature [K], and his constant [K].
#: W. Sutherland (1893), Phil. Mag. 36; constants as in F. M. White, Viscous Fluid Flow (1991),
#: from memory.
SUTHERLAND = MU_0, T_0, T_SUTHERLAND = 1.716e-5, 273.15, 110.4

#: Prandtl number of air and of burned gas.  Kinetic theory with the GRI-Mech 3.0 transport data
#: gives 0.705 to 0.711 for air and 0.701 to 0.709 for burned iso-octane, 300 to 2000 K.
PRANDTL = 0.71

#: Reynolds numbers between which laminar and turbulent friction are blended.
LAMINAR, TURBULENT = 2300.0, 4000.0

#: Haaland, J. Fluids Eng. 105 (1983) 89: 1/sqrt(f) = -1.8 log10((eps / (3.7 D))^1.11 + 6.9 / Re).
HAALAND_FACTOR, HAALAND_SMOOTH, HAALAND_ROUGH, HAALAND_POWER = 1.8, 6.9, 3.7, 1.11

#: Wiebe's a: -ln(0.001), 99.9 % burned at the end of the duration before scaling.
WIEBE_A = 6.908
