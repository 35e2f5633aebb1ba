"""One putt on a flat green: start directions, roll-outs, what the hole takes, what is left."""
