/** What /api/v1/joined answers; times are UTC milliseconds. */
export interface Joined {
  cook: string;
  name: string;
  from_ms: number;
  to_ms: number;
  running: boolean;
  lines: Line[];
  pieces: Piece[];
  alarms: { alert: string; kind: string; message: string; piece: string | null; channel: string | null; from_ms: number; to_ms: number }[];
  forecasts: { piece: string; target: string; made_ms: number; p10_ms: number | null; p50_ms: number | null; p90_ms: number | null }[];
}
export interface Line {
  channel: string;
  site: string;
  piece: string | null;
  low_c: number | null;
  high_c: number | null;
  set_c: number | null;
}
export interface Piece {
  piece: string;
  pit: string | null;
  cores: string[];
  ended: boolean;
  wrap_c: number | null;
  pull_c: number | null;
  stages: { stage: string; flag: string; at_ms: number }[];
  stair: { checkpoint: string; label: string; at_ms: number; net_g: number; corrected: boolean }[];
}
