"""Questions a turf agronomist is paid to answer, answered from public results."""
