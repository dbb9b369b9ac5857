"""Where blocks come from: microphone, recording, simulated cut, all behind one small interface."""
