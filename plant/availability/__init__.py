"""The availability report: figures, pictures, words, page and paper."""
