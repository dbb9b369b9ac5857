"""Pure machining science: geometry, forces, the time-domain cut, stability. No file, device, clock or setting."""
