// Answers what the page asks, away from its own thread: { id, ask, ...what } -> { id, answer } or { id, fault }.

const answers = { stretched, spectrum };
if (typeof WorkerGlobalScope !== "undefined") {
  self.onmessage = ({ data: { id, ask, what } }) => {
    try {
      const answer = answers[ask](what);
      const buffers = [answer].flat().map((array) => array.buffer);
      self.postMessage({ id, answer }, buffers);
    } catch (fault) {
      self.postMessage({ id, fault: String(fault) });
    }
  };
}
