// Cells that lead to another page: a real link, so that it can be opened, copied and focused.
var dagcomponentfuncs = (window.dashAgGridComponentFunctions =
  window.dashAgGridComponentFunctions || {});

dagcomponentfuncs.PageLink = function (props) {
  if (!props.data || !props.data.href) return props.value || "";
  return React.createElement(
    window.dash_core_components.Link,
    { href: props.data.href, children: String(props.value) },
  );
};
