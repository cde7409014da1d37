"""Lights, buzzer and voice for the cook; pedal and buttons from the cook. `output` is the door.

Pure: `settings`, `signals` (which light, which tone at an instant), `pedal` (what a foot did). `board` is the thread of
all `pins`, with `contacts` for what is pressed; `voice` is the thread that speaks, by the child processes of `speech`.
"""
