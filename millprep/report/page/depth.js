// The depth view is a part of the page that is read only when it is wanted: its script lies in the
// page as text, and the page's policy names it by its hash.
let depthPanel = null;

function openDepth() {
  if (!depthPanel) {
    const script = document.createElement("script");
    script.textContent = $("depth-script").textContent;
    document.head.append(script);
    depthPanel = window.millprepDepth({
      data, programs, state, blanks, parts, windows, canvas, $, element, figure, moved,
      inverse, boxOf, colours, changed, setMeasuring, option,
    });
  }
  depthPanel.toggle();
}

function startDepth() {
  $("depth-open").addEventListener("click", openDepth);
}
