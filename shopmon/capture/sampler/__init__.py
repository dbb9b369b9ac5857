"""The sampler board: a microcontroller with an accelerometer that streams over USB serial."""
