"""The measuring mathematics: speeds of sound, pulse-echo, sector geometry, lengths, angles, areas; numpy only."""
