"""Sources of what the cautions of a row rest on, beside those of what was reckoned with."""

from __future__ import annotations

# behind the cautions that every answer on nitrate, and on prussic acid, carries
NITRATE = ("signs", "at_risk", "drying_loss", "grind_and_mix", "nitrate_basis")
PRUSSIC = ("prussic.signs", "prussic.no_field_test", "prussic.hay", "prussic.sampling", "prussic.heights",
           "prussic.frosted_heights", "prussic.frost_waits", "prussic.new_shoots", "prussic.rain_wait")  # fmt: skip
