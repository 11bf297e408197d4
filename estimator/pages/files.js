// Files in and out: a button that takes a file up, or one that asks for a file and saves it.

function render({ model, el }) {
  el.classList.add("est-file");
  return model.get("takes") ? upload(model, el) : save(model, el);
}

function upload(model, el) {
  const input = document.createElement("input");
  input.type = "file";
  input.accept = model.get("takes");
  input.className = "est-hidden-input";
  const label = document.createElement("label");
  label.className = "est-button est-upload";
  label.append(input, model.get("label"));
  el.append(label);
  input.addEventListener("change", async () => {
    const file = input.files[0];
    if (!file) return;
    // A file far too big would break the connection: its size is told, its content stays here.
    if (file.size > model.get("most_bytes")) model.send({ name: file.name, size: file.size });
    else model.send({ name: file.name, size: file.size }, undefined, [await file.arrayBuffer()]);
    input.value = "";
  });
  return () => {};
}

function save(model, el) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "est-button";
  const show = () => {
    button.textContent = model.get("label");
    button.disabled = model.get("disabled");
  };
  show();
  el.append(button);
  button.addEventListener("click", () => model.send({ want: 1 }));
  const got = (message, buffers) => {
    if (!message.name) return;
    const url = URL.createObjectURL(new Blob([buffers[0]], { type: message.type }));
    const link = document.createElement("a");
    link.href = url;
    link.download = message.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(url), 10000);
  };
  model.on("change:label change:disabled", show);
  model.on("msg:custom", got);
  return () => { model.off("change:label change:disabled", show); model.off("msg:custom", got); };
}

export default { render };
