"""The sands, gravels, greens and weathers that more than one test stands on, at one place.

All are invented but where a source is named; the names say what a soil is used as. A test whose
meaning is in its own numbers keeps them beside it.
"""

import soilwater as sw

# Root zone sands, from one that holds little water to one that holds much: straight, even, middle,
# mix on the wet side, capping.
STRAIGHT_SAND = sw.VanGenuchten(0.025, 0.37, 0.041, 4.5, 60.0)
EVEN_SAND = sw.VanGenuchten(0.02, 0.40, 0.0241, 6.6, 30.0)
MIDDLE_MIX = sw.VanGenuchten(0.05, 0.40, 0.047, 3.0, 40.0)
WET_MIX = sw.VanGenuchten(0.05, 0.42, 0.039, 3.0, 28.0)
CAPPING_SAND = sw.VanGenuchten(0.05, 0.40, 0.024, 3.0, 16.0)
# Near one size of grain: it drains all at once, which is hard on a solver.
UNIFORM_SAND = sw.VanGenuchten(0.03, 0.40, 0.033, 5.0, 40.0)

PEA_GRAVEL = sw.VanGenuchten(0.01, 0.35, 0.3, 3.5, 2000.0)
COARSE_GRAVEL = sw.VanGenuchten(0.005, 0.42, 0.5, 2.2, 5000.0)
CLEAN_GRAVEL = sw.VanGenuchten(0.005, 0.42, 5.0, 2.7, 20_000.0)

# Vanderborght et al. (2005), Vadose Zone Journal 4:206 (from memory).
BENCHMARK_LOAM = sw.VanGenuchten(0.08, 0.43, 0.04, 1.6, 50.0 / 24.0)
BENCHMARK_CLAY = sw.VanGenuchten(0.10, 0.40, 0.01, 1.1, 10.0 / 24.0)

# Suctions over gravel that have been reported, from text-books to one trial; each as likely.
REPORTED = (0.0, 9.0)

# The green of most tests: the middle mix, 30 cm over gravel, whose fixed suction makes rest exact.
GREEN = sw.Profile.over_gravel(MIDDLE_MIX, 30.0, base_suction=3.0)
