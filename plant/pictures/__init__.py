"""Pictures and papers: the end view, the climate chart, the printed sheet."""
