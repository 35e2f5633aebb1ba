"""Parts of a trial: arms, blocks, contrast, early looks, cautions, the textbook beside it."""
