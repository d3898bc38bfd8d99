"""Settings shared by all tests."""

from hypothesis import settings

# The machine may be busy and kernels compile at their first call: no deadlines. The same examples
# are tried each time, so that a red run means a change in the code; look for new ones with
# `python -m pytest tests/properties --hypothesis-profile=explore`, and report what they find.
settings.register_profile("steady", deadline=None, max_examples=60, derandomize=True)
settings.register_profile("explore", deadline=None, max_examples=1000)
settings.load_profile("steady")
