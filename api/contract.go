package api

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/labstack/echo/v4"

	"laneward/api/problem"
	"laneward/service"
	"laneward/service/record"
)

// contract is the loaded contract: what each operation takes, by method and path.
type contract struct {
	document *openapi3.T
	asJSON   []byte
	routes   map[string]*routers.Route // by method and echo's path
}

func loadContract(text []byte) (*contract, error) {
	document, err := openapi3.NewLoader().LoadFromData(text)
	if err != nil {
		return nil, fmt.Errorf("read the contract: %w", err)
	}
	asJSON, err := json.Marshal(document)
	if err != nil {
		return nil, fmt.Errorf("write the contract as JSON: %w", err)
	}
	// The validator for the newer version compiles each schema anew for each request; a test checks
	// that the older one covers the whole contract.
	checked := *document
	checked.OpenAPI = "3.0.3"
	c := &contract{document: document, asJSON: asJSON, routes: make(map[string]*routers.Route)}
	for path, item := range document.Paths.Map() {
		for method, operation := range item.Operations() {
			c.routes[routeKey(method, echoPath(path))] = &routers.Route{
				Spec:      &checked,
				Path:      path,
				PathItem:  item,
				Method:    method,
				Operation: operation,
			}
		}
	}
	return c, nil
}

func routeKey(method, path string) string { return method + " " + path }

// echoPath turns {name} into :name.
func echoPath(path string) string {
	return strings.NewReplacer("{", ":", "}", "").Replace(path)
}

// route returns the operation a request is for; nil when it is for none of the contract's.
func (c *contract) route(ctx echo.Context) *routers.Route {
	return c.routes[routeKey(ctx.Request().Method, ctx.Path())]
}

// unknown refuses a request to the API that matches no operation: 405 with the methods there are,
// else 404. Other addresses are pages.
func (c *contract) unknown(ctx echo.Context) error {
	path := ctx.Request().URL.Path
	var allowed []string
	for template, item := range c.document.Paths.Map() {
		if matches(template, path) {
			for method := range item.Operations() {
				allowed = append(allowed, method)
				if method == http.MethodGet && !isLive(template) {
					allowed = append(allowed, http.MethodHead)
				}
			}
		}
	}
	switch {
	case len(allowed) > 0:
		slices.Sort(allowed)
		ctx.Response().Header().Set(echo.HeaderAllow, strings.Join(allowed, ", "))
		return echo.ErrMethodNotAllowed
	case strings.HasPrefix(path, "/v1/"):
		return echo.ErrNotFound
	}
	return nil
}

// matches compares a path with a template part by part; {name} matches any part.
func matches(template, path string) bool {
	want, got := strings.Split(template, "/"), strings.Split(path, "/")
	if len(want) != len(got) {
		return false
	}
	for i, part := range want {
		if part != got[i] && (!strings.HasPrefix(part, "{") || got[i] == "") {
			return false
		}
	}
	return true
}

// readByHandler reports whether the handler reads the body itself, item by item, because a bad item
// must not hold up the good ones.
func readByHandler(route *routers.Route) bool {
	flag, _ := route.Operation.Extensions["x-body-read-by-handler"].(bool)
	return flag
}

// public reports whether an operation needs no token.
func public(route *routers.Route) bool {
	return route.Operation.Security != nil && len(*route.Operation.Security) == 0
}

// withoutSecurity returns the route as one that is open to all. The request has been authenticated
// before; if the validator did so too, it would read the whole body into memory, even one that its
// handler is to stream.
func withoutSecurity(route *routers.Route) *routers.Route {
	open, operation := *route, *route.Operation
	operation.Security = &openapi3.SecurityRequirements{}
	open.Operation = &operation
	return &open
}

// check refuses a request that does not fit the contract, with every fault of its body. The
// generated code checks almost nothing.
func (c *contract) check(large turn) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(ctx echo.Context) error {
			if err := c.checkRequest(ctx, large); err != nil {
				return err
			}
			return next(ctx)
		}
	}
}

// checkRequest refuses a request that does not fit the contract.
func (c *contract) checkRequest(ctx echo.Context, large turn) error {
	route := c.route(ctx)
	if route == nil {
		return nil
	}
	params := make(map[string]string, len(ctx.ParamNames()))
	for i, name := range ctx.ParamNames() {
		params[name] = ctx.ParamValues()[i]
	}
	request := ctx.Request()
	if err := checkQuery(request, route); err != nil {
		return err
	}
	if err := checkMedia(request, route); err != nil {
		return err
	}
	err := openapi3filter.ValidateRequest(request.Context(), &openapi3filter.RequestValidationInput{
		Request: request, PathParams: params, Route: withoutSecurity(route),
		Options: &openapi3filter.Options{MultiError: true, ExcludeRequestBody: true},
	})
	if err != nil {
		return contractError(err)
	}
	return checkBody(request, route, large)
}

// checkQuery refuses a query parameter the operation does not have, which would otherwise be
// dropped in silence.
func checkQuery(request *http.Request, route *routers.Route) error {
	known := make(map[string]bool)
	var names []string
	for _, list := range []openapi3.Parameters{route.PathItem.Parameters, route.Operation.Parameters} {
		for _, parameter := range list {
			if parameter.Value.In == openapi3.ParameterInQuery {
				known[parameter.Value.Name] = true
				names = append(names, parameter.Value.Name)
			}
		}
	}
	for name := range request.URL.Query() {
		if !known[name] {
			detail := fmt.Sprintf("there is no query parameter %q here", name)
			if len(names) > 0 {
				detail += ": there is " + strings.Join(names, ", ")
			}
			return &service.Error{Code: service.Invalid, Detail: detail}
		}
	}
	return nil
}

// checkMedia refuses a body of a type that the operation does not take. Without a body there is
// nothing to refuse here.
func checkMedia(request *http.Request, route *routers.Route) error {
	body := route.Operation.RequestBody
	if body == nil || readByHandler(route) || request.ContentLength == 0 {
		return nil
	}
	media := request.Header.Get(echo.HeaderContentType)
	if body.Value.Content.Get(media) != nil {
		return nil
	}
	taken := slices.Sorted(maps.Keys(body.Value.Content))
	return &service.Error{
		Code: problem.Media,
		Detail: fmt.Sprintf(
			"the body comes as %q: set Content-Type to %s and send it so",
			media,
			strings.Join(taken, " or "),
		),
	}
}

// contractError says which parameters do not fit the contract.
func contractError(err error) error {
	var faults []record.Fault
	collect(err, &faults)
	return misfit(faults, 0)
}

// misfit is the error of a request that has these faults, and so many more.
func misfit(faults []record.Fault, more int) error {
	detail := faults[0].Detail
	if faults[0].Pointer != "" {
		detail = fmt.Sprintf("%s: %s", strings.TrimPrefix(faults[0].Pointer, "/"), detail)
	}
	if many := len(faults) + more; many > 1 {
		detail = fmt.Sprintf("%d problems; the first: %s", many, detail)
	}
	return &service.Error{Code: service.Invalid, Detail: detail, Faults: faults, More: more}
}

func collect(err error, faults *[]record.Fault) {
	var many openapi3.MultiError
	var request *openapi3filter.RequestError
	switch {
	case isMulti(err) && errors.As(err, &many):
		for _, one := range many {
			collect(one, faults)
		}
	case errors.As(err, &request) && request.Parameter != nil:
		detail := fmt.Sprintf("%s %s: %s", request.Parameter.In, request.Parameter.Name, reason(request))
		*faults = append(*faults, record.Fault{Code: "parameter", Detail: detail})
	default:
		*faults = append(*faults, record.Fault{Code: "format", Detail: err.Error()})
	}
}

func isMulti(err error) bool {
	_, ok := err.(openapi3.MultiError) //nolint:errorlint // the outermost error decides
	return ok
}

func reason(request *openapi3filter.RequestError) string {
	var schema *openapi3.SchemaError
	if errors.As(request.Err, &schema) {
		return schemaFault(schema).Detail
	}
	if request.Err != nil {
		return request.Err.Error()
	}
	return request.Reason
}

// pointer writes a path as RFC 6901 does.
func pointer(path []string) string {
	var b strings.Builder
	for _, part := range path {
		b.WriteByte('/')
		b.WriteString(strings.NewReplacer("~", "~0", "/", "~1").Replace(part))
	}
	return b.String()
}
