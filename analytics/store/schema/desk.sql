-- What people do, apart from the facts: small writes that never copy a snapshot (SQLite, WAL).
CREATE TABLE IF NOT EXISTS user (
    name TEXT PRIMARY KEY, password_hash TEXT NOT NULL, role TEXT NOT NULL, created_at TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS sign_in_failure (name TEXT NOT NULL, address TEXT NOT NULL, at TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS audit (
    id INTEGER PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL, action TEXT NOT NULL, detail TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS plan_version (
    id INTEGER PRIMARY KEY, made_at TEXT NOT NULL, who TEXT NOT NULL, parent INTEGER, content TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS job (
    id INTEGER PRIMARY KEY, asked_at TEXT NOT NULL, who TEXT NOT NULL, kind TEXT NOT NULL,
    detail TEXT NOT NULL, state TEXT NOT NULL, finished_at TEXT, result TEXT);
