"""The use cases: the only place where book, listening and sheets meet.

- `organ_files`, `open_book`: organs from files; the tuning book
- `hear_recording`, `hear_recordings`, `hold_audio`: recordings heard and played again
- `surveys`, `heard_keys`: walks planned, played, and what was missed
- `visit`, `worklist`, `faults`: a visit from arrival to closing
- `plan_request`, `planned_pipes`, `before_planning`, `plans`, `weights`: plans
- `walk_files`: walks from files
- `live`: a session at the pipes
- `calendar`, `outlook`, `learned_drift`, `drift_course`: looking ahead and back
- `snapshot`, `overview`, `pipe_history`, `pipe_offsets`: what pages show of a book
- `print_sheets`, `export`, `write_files`, `processes`, `beats`, `targets`
"""
