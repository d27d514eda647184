-- What bench/office.py reads: requests a second, the 95th percentile, and answers that were no page.
wrk.headers["Accept"] = "text/html"
function done(summary, latency, requests)
  local errors = summary.errors
  local bad = errors.connect + errors.read + errors.write + errors.status + errors.timeout
  io.write(string.format("rate=%.2f p95_ms=%.3f bad=%d\n",
    summary.requests / (summary.duration / 1e6), latency:percentile(95) / 1000, bad))
end
