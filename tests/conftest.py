"""Settings shared by all tests."""

import os

from hypothesis import settings

# The machine may be busy and kernels compile at their first call: no deadlines. In CI the same
# examples are tried each time, so that a red run means a change in the code.
settings.register_profile("default", deadline=None, max_examples=60)
settings.register_profile("ci", deadline=None, max_examples=60, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "default")
