"""Why a spot reads as it does."""
