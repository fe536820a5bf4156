-- asked_down: one row = one down interval of one locomotive: a run of stretches down for the same reason,
-- out of use in between left out of its hours; opened by the earliest span in it. `open`: still down at
-- the cut; `cut_off`: its end is not known.
WITH begun AS (
    SELECT *, CASE WHEN down = lag(down) OVER w AND from_at = lag(to_at) OVER w THEN 0 ELSE 1 END AS begins
    FROM asked_state WINDOW w AS (PARTITION BY locomotive ORDER BY from_at)
), numbered AS (
    SELECT *, sum(begins) OVER (PARTITION BY locomotive ORDER BY from_at ROWS UNBOUNDED PRECEDING) AS run
    FROM begun
), island AS (
    SELECT locomotive, any_value(class) AS class, arg_min(depot, from_at) AS depot, arg_min(month, from_at) AS month,
        down, min(from_at) AS from_at, max(to_at) AS to_at, sum(us) FILTER (NOT idle) / 3600e6 AS hours,
        arg_max(still AND NOT idle, from_at) AS open, arg_max(beyond, from_at) AS cut_off
    FROM numbered WHERE down <> '' GROUP BY locomotive, run, down HAVING sum(us) FILTER (NOT idle) > 0
), first_span AS (
    SELECT i.locomotive, i.from_at, arg_min(struct_pack(kind := s.kind, component := s.component, defect := s.defect),
        (s.from_at, s.kind, s.component IS NULL, s.component, s.defect)) AS opener
    FROM island AS i JOIN asked_span AS s ON s.locomotive = i.locomotive AND s.state <> 'unmeasured'
        AND (s.kind = 'work') = (i.down = 'planned') AND s.from_at >= i.from_at AND s.from_at < i.to_at
    GROUP BY i.locomotive, i.from_at
)
SELECT i.*, i.down = 'planned' AS planned, coalesce(f.opener.kind, 'work') AS opened_by, f.opener.component AS component,
    f.opener.defect AS defect
FROM island AS i LEFT JOIN first_span AS f USING (locomotive, from_at)
WHERE i.to_at > $since
