"""Work orders as every room needs them: raised, joined, ranked, supplied, accepted by four eyes."""
