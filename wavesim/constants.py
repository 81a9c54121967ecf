"""Ranges that several rooms check against: each is written once, here."""

RPM_RANGE = (100.0, 30000.0)  #: engine speed [rev/min]
LAMBDA_RANGE = (0.6, 1.6)  #: excess-air ratio [1]
